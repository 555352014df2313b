"""How a characteristic is measured: what is typed, and how the amount follows from it."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from qc_app.measure.core_sample import MeasuredDensity, core_density, measured_core
from qc_app.measure.length import Length, parse_length
from qc_app.measure.mass import Mass, parse_mass
from qc_app.measure.moisture import parse_percent
from qc_app.measure.quadrilateral import Squareness, square_from_diagonals
from qc_app.plan.quantity import GRAINS, Quantity, density_grains, parse_count
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal

DEPTH_OVER_BAY = Length.from_nanometres(6_350_000)
"""How much deeper than its bay a core may read: 1/4 in, for a face that bulges (our choice)."""


class Entry(StrEnum):
    """What kind of thing is typed into one field."""

    LENGTH = "length"
    MASS = "mass"
    PERCENT = "percent"
    COUNT = "count"
    YES_NO = "yes_no"


@dataclass(frozen=True)
class Field:
    """One thing to type. ``label`` and ``example`` are English phrases, to be translated where shown."""

    key: str
    label: str
    entry: Entry
    example: str = ""
    required: bool = True


@dataclass(frozen=True)
class Companion:
    """A number shown beside the amount because it follows from the same entries."""

    name: str
    quantity: Quantity | None
    amount: float


@dataclass(frozen=True)
class Outcome:
    """What the entries amount to, in grains of the method's quantity; the uncertainty where it is known."""

    amount: int
    companions: tuple[Companion, ...] = ()
    standard_uncertainty: int | None = None
    advice: str | None = None
    """What to do for a smaller uncertainty, in a sentence; None where it is small enough."""


@dataclass(frozen=True)
class Circumstances:
    """What the amount depends on besides the entries."""

    subject: Subject
    place: str
    bore: Length | None = None
    uncertainties: Mapping[str, int] = field(default_factory=dict)
    """Standard uncertainty of one reading with each kind of instrument, in grains."""

    def length_uncertainty(self, kind: str) -> Length | None:
        """That of a kind that measures lengths, if it is known."""
        grains = self.uncertainties.get(kind)
        return Length.from_nanometres(grains) if grains else None


Entries = Mapping[str, str]
T = TypeVar("T")


@dataclass(frozen=True)
class Method:
    """A way of measuring. ``work_out`` raises Refusal for entries that cannot be read.

    ``lines`` names the lines it always measures, from corner to corner.
    """

    key: str
    quantity: Quantity
    fields: tuple[Field, ...]
    work_out: Callable[[Entries, Circumstances], Outcome]
    charted: bool = True
    lines: tuple[str, ...] = ()


class EntryRefused(Refusal):
    """An entry that cannot be read; ``about`` is the key of the field it was typed into."""

    def __init__(self, key: str, refusal: Refusal) -> None:
        super().__init__(refusal.sentence, about=key, **refusal.facts)


def phrase(text: str) -> str:
    """Marks an English phrase for translation where it is defined rather than shown."""
    return text


def _read(entries: Entries, key: str, parse: Callable[[str], T]) -> T:
    text = entries.get(key, "")
    try:
        if not text.strip():
            raise Refusal(phrase("Enter a value; nothing was entered."))
        return parse(text)
    except Refusal as refusal:
        raise EntryRefused(key, refusal) from refusal


def _tape(entries: Entries, at: Circumstances) -> Outcome:
    length = _read(entries, "length", parse_length)
    return Outcome(length.nanometres, standard_uncertainty=at.uncertainties.get("tape"))


def _squareness(entries: Entries, at: Circumstances) -> Squareness:
    ac = _read(entries, "ac", parse_length)
    bd = _read(entries, "bd", parse_length)
    length, width = (Length.from_nanometres(n) for n in (at.subject.length, at.subject.width))
    try:
        return square_from_diagonals(length, width, ac, bd)
    except Refusal as refusal:
        raise EntryRefused("bd" if _is_about(refusal, "BD") else "ac", refusal) from refusal


def _is_about(refusal: Refusal, name: str) -> bool:
    return name in str(refusal.facts.get("name", ""))


def _inches_to_nanometres(inches: float) -> int:
    return round(inches * 25_400_000)


def _difference_of_diagonals(entries: Entries, at: Circumstances) -> Outcome:
    shape = _squareness(entries, at)
    difference = shape.exact_difference.nanometres
    lean = Companion(phrase("Lean over the width"), Quantity.LENGTH, _inches_to_nanometres(shape.lean))
    return Outcome(difference, (lean, _angle(shape)), _of_two_readings(at))


def _lean_over_width(entries: Entries, at: Circumstances) -> Outcome:
    shape = _squareness(entries, at)
    difference = shape.exact_difference.nanometres
    companion = Companion(phrase("Difference of diagonals, AC − BD"), Quantity.LENGTH, difference)
    # The lean is D1² − D2² over four lengths, so each diagonal counts with D/2L, nearly the same for both.
    share = math.hypot(at.subject.length, at.subject.width) / (2 * at.subject.length)
    of_two = _of_two_readings(at)
    uncertainty = round(of_two * share) if of_two else None
    return Outcome(_inches_to_nanometres(shape.lean), (companion, _angle(shape)), uncertainty)


def _of_two_readings(at: Circumstances) -> int | None:
    one = at.uncertainties.get("tape")
    return round(math.sqrt(2) * one) if one else None


def _angle(shape: Squareness) -> Companion:
    return Companion(phrase("Out of square, degrees"), None, shape.angle)


def _core(entries: Entries, at: Circumstances) -> Outcome:
    if at.bore is None:
        raise EntryRefused(
            "mass", Refusal(phrase("Choose the core cutter first; its bore is needed for the density."))
        )
    mass = _read(entries, "mass", parse_mass)
    tare = _read(entries, "tare", parse_mass) if entries.get("tare", "").strip() else 0
    depth = _read(entries, "depth", parse_length)
    _refuse_core_deeper_than_bay(depth, at)
    try:
        density = core_density(mass, at.bore, depth, tare)
    except Refusal as refusal:
        raise EntryRefused("depth" if _is_about(refusal, "depth") else "mass", refusal) from refusal
    core = _measured_core(mass, depth, tare, at)
    if core is None:
        return Outcome(density_grains(density))
    return Outcome(density_grains(density), (), density_grains(core.standard_uncertainty), core.advice())


def _measured_core(mass: Mass, depth: Length, tare: Mass | int, at: Circumstances) -> MeasuredDensity | None:
    """The density with its uncertainty; None where that of an instrument is not known."""
    scale, cutter, tape = at.uncertainties.get("scale"), *map(at.length_uncertainty, ("core_cutter", "tape"))
    if scale is None or cutter is None or tape is None or at.bore is None:
        return None
    return measured_core(
        mass,
        at.bore,
        depth,
        tare,
        scale_uncertainty=Mass.from_grams(Fraction(scale, GRAINS)),
        bore_uncertainty=cutter,
        depth_uncertainty=tape,
    )


def _refuse_core_deeper_than_bay(depth: Length, at: Circumstances) -> None:
    bay = at.subject.bay(place_number(at.place))
    if bay is None:
        return
    deepest = Length.from_nanometres(bay.depth)
    if depth > deepest + DEPTH_OVER_BAY:
        refusal = Refusal(
            phrase("The core cannot be deeper than its bay ({bay} in). Given: {given} in."),
            bay=float(deepest.inches),
            given=float(depth.inches),
        )
        raise EntryRefused("depth", refusal)


def _meter(entries: Entries, at: Circumstances) -> Outcome:
    amount = round(_read(entries, "percent", parse_percent) * GRAINS)
    return Outcome(amount, standard_uncertainty=at.uncertainties.get("moisture_meter"))


def _check(entries: Entries, _: Circumstances) -> Outcome:
    answer = _read(entries, "passed", str).strip().lower()
    if answer not in ("yes", "no"):
        raise EntryRefused(
            "passed", Refusal(phrase("Answer yes or no. Given: “{given}”."), given=answer[:40])
        )
    if answer == "yes":
        if entries.get("faults", "").strip() not in ("", "0"):
            raise EntryRefused(
                "faults", Refusal(phrase("“Yes” means no faults. Leave the count empty, or answer no."))
            )
        return Outcome(0)
    faults = _read(entries, "faults", parse_count)
    if faults == 0:
        raise EntryRefused("faults", Refusal(phrase("“No” needs the count of faults, 1 or more.")))
    return Outcome(faults)


def place_number(place: str) -> int:
    """The number in a place such as ``bay 3``; 0 where there is none."""
    digits = place.rpartition(" ")[2]
    return int(digits) if digits.isascii() and digits.isdigit() else 0


_TWO_DIAGONALS = (
    Field("ac", phrase("Diagonal AC"), Entry.LENGTH, "25' 3 9/16\""),
    Field("bd", phrase("Diagonal BD"), Entry.LENGTH, "25' 3 9/16\""),
)

METHODS: dict[str, Method] = {
    method.key: method
    for method in (
        Method(
            "tape",
            Quantity.LENGTH,
            (Field("length", phrase("Length"), Entry.LENGTH, "27' 11 3/16\""),),
            _tape,
        ),
        Method(
            "difference_of_diagonals",
            Quantity.LENGTH,
            _TWO_DIAGONALS,
            _difference_of_diagonals,
            lines=("AC", "BD"),
        ),
        Method("lean_over_width", Quantity.LENGTH, _TWO_DIAGONALS, _lean_over_width, lines=("AC", "BD")),
        Method(
            "core",
            Quantity.DENSITY,
            (
                Field("mass", phrase("Mass of the core"), Entry.MASS, "60.0 g"),
                Field("depth", phrase("Depth of the core"), Entry.LENGTH, '11 1/4"'),
                Field("tare", phrase("Tare (optional)"), Entry.MASS, "0 g", required=False),
            ),
            _core,
        ),
        Method(
            "meter",
            Quantity.MOISTURE,
            (Field("percent", phrase("Moisture"), Entry.PERCENT, "14.5 %"),),
            _meter,
        ),
        Method(
            "check",
            Quantity.COUNT,
            (
                Field("passed", phrase("Passed?"), Entry.YES_NO),
                Field("faults", phrase("If no, how many faults?"), Entry.COUNT, "2", required=False),
            ),
            _check,
            charted=False,
        ),
    )
}
"""Every way of measuring that a control plan may name."""
