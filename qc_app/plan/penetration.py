"""What goes through a panel: pipes, ducts and cables, each in a sleeve that the schedule names."""

from collections.abc import Iterable
from dataclasses import dataclass

from qc_app.phrase import phrase
from qc_app.refusal import Refusal, shortened

FACES = {
    "outer": phrase("outer face"),
    "inner": phrase("inner face"),
    "both": phrase("both faces"),
    "edge": phrase("edge"),
}
"""The faces a penetration goes through, and the words for them."""

MOST_PENETRATIONS = 99


@dataclass(frozen=True)
class Penetration:
    """One penetration. ``along`` AB and ``across`` towards D place its centre from corner A, in nanometres.

    ``size`` and ``sleeve`` are in the words of the schedule.
    """

    mark: str
    face: str
    size: str
    sleeve: str = ""
    along: int | None = None
    across: int | None = None

    @property
    def words(self) -> tuple[str, ...]:
        """What a worker compares it with: face, size and sleeve."""
        return tuple(word for word in (FACES.get(self.face, self.face), self.size, self.sleeve) if word)


def check_penetrations(penetrations: Iterable[Penetration], length: int, width: int) -> None:
    """Raises Refusal at the first that a panel of this length and width, in nanometres, cannot have.

    That is one whose mark is taken, whose face is unknown, whose words are missing, too long or not on one
    line, or whose centre lies off the panel; or one too many.
    """
    marks: set[str] = set()
    for penetration in penetrations:
        _check_words(penetration)
        _check_centre(penetration, length, width)
        if penetration.mark.lower() in marks:
            raise Refusal("The panel has two penetrations marked “{given}”.", given=penetration.mark)
        marks.add(penetration.mark.lower())
    if len(marks) > MOST_PENETRATIONS:
        raise Refusal("A panel has at most {most} penetrations.", most=MOST_PENETRATIONS)


def _check_words(penetration: Penetration) -> None:
    _check_text(phrase("The mark of a penetration"), penetration.mark, 1, 20)
    if penetration.face not in FACES:
        raise Refusal(
            "The face of penetration {mark} is one of: {known}. Given: “{given}”.",
            mark=penetration.mark,
            known=", ".join(FACES),
            given=shortened(penetration.face),
        )
    _check_text(phrase("The size of a penetration"), penetration.size, 1, 40)
    _check_text(phrase("The sleeve of a penetration"), penetration.sleeve, 0, 60)


def _check_text(what: str, text: str, fewest: int, most: int) -> None:
    if not fewest <= len(text) <= most or not text.isprintable() or text != text.strip():
        raise Refusal(
            "{what} has {fewest} to {most} characters on one line. Given: “{given}”.",
            what=what,
            fewest=fewest,
            most=most,
            given=shortened(text),
        )


def _check_centre(penetration: Penetration, length: int, width: int) -> None:
    for given, size in ((penetration.along, length), (penetration.across, width)):
        if given is not None and not 0 <= given <= size:
            raise Refusal("The centre of penetration {mark} is not on the panel.", mark=penetration.mark)
