"""How a packet words amounts, limits, times and open points, in the plant's own units."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from qc_app.measure.conformity import Verdict
from qc_app.plan.characteristic import Requirement
from qc_app.plan.method import Companion, Entry, Method
from qc_app.plan.place_marks import parse_place_marks
from qc_app.plan.quantity import (
    MINUS,
    NANOMETRES_PER_INCH,
    Quantity,
    Units,
    format_amount,
    format_derived,
    format_difference,
)
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def long_date(at: datetime) -> str:
    """A day with the month in full, the same whatever the language of the machine.

    >>> long_date(datetime(2026, 3, 2))
    '2 March 2026'
    """
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}"


def short_time(at: datetime) -> str:
    """A moment to the minute.

    >>> short_time(datetime(2026, 3, 2, 9, 5))
    '2 Mar 2026, 09:05'
    """
    return f"{at.day} {MONTHS[at.month - 1][:3]} {at.year}, {at:%H:%M}"


def value_text(quantity: Quantity, amount: int, units: Units) -> str:
    """An amount as printed; faults are spelt out.

    >>> value_text(Quantity.COUNT, 0, Units()), value_text(Quantity.DENSITY, 3_500_000, Units())
    ('no faults', '3.50 lb/ft³')
    """
    if quantity is Quantity.COUNT:
        return f"{amount or 'no'} fault{'' if amount == 1 else 's'}"
    return format_amount(quantity, amount, units)


def limits_text(quantity: Quantity, requirement: Requirement, units: Units) -> str:
    """The limits of tolerance in words.

    >>> limits_text(Quantity.MOISTURE, Requirement(None, None, 18_000_000), Units())
    'at most 18.0 %'
    """
    lower, upper = (
        None if end is None else value_text(quantity, end, units)
        for end in (requirement.lower, requirement.upper)
    )
    if lower is not None and upper is not None:
        return f"{lower} to {upper}"
    if lower is not None:
        return f"at least {lower}"
    if upper is None:
        return "no limits"
    return upper if upper == "no faults" else f"at most {upper}"


def deviation_text(quantity: Quantity, amount: int, target: int | None, units: Units) -> str:
    """The deviation with its sign; empty where there is no target."""
    return "" if target is None else format_difference(quantity, amount - target, units)


def entered_text(method: Method | None, entries: Mapping[str, str]) -> str:
    """What was typed, exactly, each entry after the name of its field where there are several.

    Places of faults are left to ``faults_text``. ``method`` is None when the control plan no longer says how
    it was measured.
    """
    if method is None:
        return "; ".join(f"{key} {text}" for key, text in entries.items())
    fields = [f for f in method.fields if f.key in entries and f.entry is not Entry.PLACES]
    if entries.get("passed", "").strip().lower() == "yes":
        return ""
    if len(fields) == 1 or any(field.entry is Entry.YES_NO for field in fields):
        return ", ".join(entries[field.key] for field in fields)
    return "; ".join(f"{field.label.removesuffix(' (optional)')} {entries[field.key]}" for field in fields)


def faults_text(marked: str, subject: Subject, units: Units) -> str:
    """Where faults were marked on the drawing, as a tape would find them; empty where none was.

    To the nearest inch or centimetre, as finely as a finger points.

    >>> panel = Subject("R-01", "closed_roof", 1, 7_315_200_000, 2_438_400_000, 285_750_000)
    >>> faults_text("250,500", panel, Units("metric"))
    'about 1830 mm from end AD and 1220 mm from edge AB'
    """
    try:
        marks = parse_place_marks(marked)
    except Refusal:
        return marked
    return "; ".join(
        f"about {_pointed_at(mark.along * subject.length, units)} from end AD and "
        f"{_pointed_at(mark.across * subject.width, units)} from edge AB"
        for mark in marks
    )


def _pointed_at(thousandths: int, units: Units) -> str:
    step = NANOMETRES_PER_INCH if units.system == "imperial" else 10_000_000
    return format_amount(Quantity.LENGTH, round(thousandths / 1000 / step) * step, units)


def photos_text(photos: Sequence[str]) -> str:
    """How many photos show a reading, and the SHA-256 that each is known by; empty for none.

    >>> photos_text(["ab" * 32])[:20]
    '1 photo, SHA-256 aba'
    """
    return f"{counted(len(photos), 'photo', 'photos')}, SHA-256 {', '.join(photos)}" if photos else ""


def companion_text(companion: Companion, units: Units) -> str:
    """A number that follows from the same entries, after its name."""
    if companion.quantity is None:
        sign = MINUS if companion.amount < 0 else ""
        return f"{companion.name}: {sign}{abs(companion.amount):.3f}"
    return f"{companion.name}: {format_derived(companion.quantity, companion.amount, units)}"


def check_text(name: str, place: str) -> str:
    """A check by its characteristic and its place."""
    return f"{name}, {place}" if place else name


def not_within(
    check: str, quantity: Quantity, amount: int, requirement: Requirement, verdict: Verdict, units: Units
) -> str:
    """Plain sentence on a reading that does not prove its check.

    >>> not_within("Core, bay 3", Quantity.DENSITY, 3_210_000, Requirement(None, 3_500_000, None),
    ...     Verdict.OUTSIDE, Units())
    'Core, bay 3: 3.21 lb/ft³, below the lower limit 3.50 lb/ft³.'
    """
    value = value_text(quantity, amount, units)
    if verdict is Verdict.UNCLEAR:
        return f"{check}: {value}, too near a limit to tell. Measure again."
    side, limit = _limit_missed(amount, requirement)
    if limit is None:
        return f"{check}: {value}, judged outside its limits."
    shown = value_text(quantity, limit, units)
    if shown == "no faults":
        return f"{check}: {value}, where none is allowed."
    return f"{check}: {value}, {'just ' if shown == value else ''}{side} limit {shown}."


def _limit_missed(amount: int, requirement: Requirement) -> tuple[str, int | None]:
    if requirement.lower is not None and amount < requirement.lower:
        return "below the lower", requirement.lower
    if requirement.upper is not None and amount > requirement.upper:
        return "above the upper", requirement.upper
    return "", None


def not_recorded(check: str) -> str:
    """Plain sentence on a check without a reading."""
    return f"{check}: not yet recorded."


def counted(number: int, one: str, many: str) -> str:
    """A number with its noun.

    >>> counted(1, "panel", "panels"), counted(0, "panel", "panels")
    ('1 panel', '0 panels')
    """
    return f"{number} {one if number == 1 else many}"
