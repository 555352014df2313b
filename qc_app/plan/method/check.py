"""A check by eye: passed, or so many faults, and where they are."""

from qc_app.phrase import phrase
from qc_app.plan.method.entry import Entries, Entry, EntryRefused, Field, has, read
from qc_app.plan.method.outcome import Circumstances, Method, Outcome
from qc_app.plan.place_marks import parse_place_marks
from qc_app.plan.quantity import Quantity, parse_count
from qc_app.refusal import Refusal


def _check(entries: Entries, _: Circumstances) -> Outcome:
    answer = read(entries, "passed", str).strip().lower()
    if answer not in ("yes", "no"):
        raise EntryRefused(
            "passed", Refusal(phrase("Answer yes or no. Given: “{given}”."), given=answer[:40])
        )
    return _passed(entries) if answer == "yes" else _failed(entries)


def _passed(entries: Entries) -> Outcome:
    if entries.get("faults", "").strip() not in ("", "0"):
        raise EntryRefused(
            "faults", Refusal(phrase("“Yes” means no faults. Leave the count empty, or answer no."))
        )
    if has(entries, "where"):
        raise EntryRefused("where", Refusal(phrase("“Yes” means no faults. Mark no place, or answer no.")))
    return Outcome(0)


def _failed(entries: Entries) -> Outcome:
    """The count typed, or that of the places marked. A place may hold one fault or more."""
    marked = len(read(entries, "where", parse_place_marks)) if has(entries, "where") else 0
    if marked and not has(entries, "faults"):
        return Outcome(marked)
    faults = read(entries, "faults", parse_count)
    if faults == 0:
        raise EntryRefused("faults", Refusal(phrase("“No” needs the count of faults, 1 or more.")))
    if faults < marked:
        refusal = Refusal(
            phrase("There are {marked} places marked, but only {faults} counted."),
            marked=marked,
            faults=faults,
        )
        raise EntryRefused("faults", refusal)
    return Outcome(faults)


CHECK = Method(
    "check",
    Quantity.COUNT,
    (
        Field("passed", phrase("Passed?"), Entry.YES_NO),
        Field("faults", phrase("If no, how many faults?"), Entry.COUNT, "2", required=False),
        Field("where", phrase("Where on the panel? (optional)"), Entry.PLACES, "250,500", required=False),
    ),
    _check,
    charted=False,
)
