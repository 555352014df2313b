"""Lengths read on a tape: one by itself, and two diagonals that say whether a panel is square."""

import math

from qc_app.measure.length import Length, parse_length
from qc_app.measure.quadrilateral import Squareness, square_from_diagonals
from qc_app.phrase import phrase
from qc_app.plan.method.entry import Entries, Entry, EntryRefused, Field, is_about, read
from qc_app.plan.method.outcome import Circumstances, Companion, Method, Outcome
from qc_app.plan.quantity import Quantity
from qc_app.refusal import Refusal


def _tape(entries: Entries, at: Circumstances) -> Outcome:
    length = read(entries, "length", parse_length)
    return Outcome(length.nanometres, standard_uncertainty=at.uncertainties.get("tape"))


def _squareness(entries: Entries, at: Circumstances) -> Squareness:
    ac = read(entries, "ac", parse_length)
    bd = read(entries, "bd", parse_length)
    length, width = (Length.from_nanometres(n) for n in (at.subject.length, at.subject.width))
    try:
        return square_from_diagonals(length, width, ac, bd)
    except Refusal as refusal:
        raise EntryRefused("bd" if is_about(refusal, "BD") else "ac", refusal) from refusal


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


_TWO_DIAGONALS = (
    Field("ac", phrase("Diagonal AC"), Entry.LENGTH, "25' 3 9/16\""),
    Field("bd", phrase("Diagonal BD"), Entry.LENGTH, "25' 3 9/16\""),
)

TAPE = Method(
    "tape",
    Quantity.LENGTH,
    (Field("length", phrase("Length"), Entry.LENGTH, "27' 11 3/16\""),),
    _tape,
)
DIFFERENCE_OF_DIAGONALS = Method(
    "difference_of_diagonals",
    Quantity.LENGTH,
    _TWO_DIAGONALS,
    _difference_of_diagonals,
    lines=("AC", "BD"),
)
LEAN_OVER_WIDTH = Method(
    "lean_over_width", Quantity.LENGTH, _TWO_DIAGONALS, _lean_over_width, lines=("AC", "BD")
)
