"""What people write: notes, reasons, remarks."""

from qc_app.refusal import Refusal

LONGEST_NOTE = 1000


def storable(said: str) -> str:
    """What somebody wrote, without what PostgreSQL does not keep."""
    return said.strip().replace("\0", "\ufffd")


def refuse_long_note(note: str, about: str | None = None) -> None:
    """Raises Refusal if the note is longer than a note can be."""
    if len(note) > LONGEST_NOTE:
        raise Refusal(
            "A note has at most {most} characters; this one has {length}.",
            about=about,
            most=LONGEST_NOTE,
            length=len(note),
        )


def reason_of(said: str, about: str = "reason") -> str:
    """A reason as it is stored.

    Raises
    ------
    Refusal
        If nothing but spaces was given, or more than a note can hold.
    """
    if not said.strip():
        raise Refusal("Say why in a few words; nothing was entered.", about=about)
    refuse_long_note(said, about)
    return storable(said)
