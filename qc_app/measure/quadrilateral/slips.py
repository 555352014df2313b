"""Which single reading could explain readings that do not close.

One redundant reading shows that something is wrong, never what: a change of any one of the six closes the
figure. What can be said is how large the change of each reading would have to be, and how much it looks like
a slip people make with a tape. The slips and their weights are common practice on the shop floor, not taken
from a standard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

MILLIMETRE = 10 / 254
"""In inches."""


@dataclass(frozen=True)
class Slip:
    """A slip that changes a reading by ``size`` inches, up or down; ``weight`` says how often it is met."""

    name: str
    size: float
    weight: float


TAPE_SLIPS: dict[str, tuple[Slip, ...]] = {
    "imperial": (
        Slip("one inch", 1, 1.0),
        Slip("one foot", 12, 0.8),
        Slip("half an inch", 0.5, 0.6),
        Slip("a quarter of an inch", 0.25, 0.3),
        Slip("an eighth of an inch", 0.125, 0.2),
        Slip("two inches", 2, 0.2),
        Slip("ten inches", 10, 0.2),
        Slip("two feet", 24, 0.1),
    ),
    "metric": (
        Slip("10 mm", 10 * MILLIMETRE, 1.0),
        Slip("100 mm", 100 * MILLIMETRE, 1.0),
        Slip("5 mm", 5 * MILLIMETRE, 0.4),
        Slip("20 mm", 20 * MILLIMETRE, 0.2),
        Slip("1 m", 1000 * MILLIMETRE, 0.6),
    ),
}
_TURNED_WEIGHT = 0.5
_TWICE_WEIGHT = 1.5
_UNNAMED_WEIGHT = 0.02
_OFF_SIZE = 0.125
"""Inches by which panels are commonly off their nominal size."""


@dataclass(frozen=True)
class Suspect:
    """One reading that could alone explain the misclosure.

    ``reading``      its name, one of AB, DC, DA, CB, AC, BD
    ``value``        as read, inches
    ``expected``     what the other five readings give for it, inches
    ``change``       expected − value, inches
    ``uncertainty``  standard uncertainty of the change, inches
    ``slip``         the slip it looks like, or None
    ``plausibility`` 0 to 1, relative to the other suspects: a ranking, not a probability
    """

    reading: str
    value: float
    expected: float
    change: float
    uncertainty: float
    slip: str | None
    plausibility: float


@dataclass(frozen=True)
class _Explanation:
    slip: str | None
    weight: float


def ranked(
    readings: dict[str, float],
    expected: dict[str, float],
    uncertainties: dict[str, float],
    nominal: dict[str, float],
    system: Literal["imperial", "metric"] = "imperial",
) -> tuple[Suspect, ...]:
    """The suspects, most plausible first; all figures by the name of the reading, in inches.

    ``expected``       what the other five readings give
    ``uncertainties``  standard uncertainties of expected − reading
    ``nominal``        the size the panel should have

    The nearer a change is to the size of a slip, the better the slip explains it: its weight falls off with
    the distance as a normal density does. A reading nearer to its nominal size once changed is likelier too.
    """
    twice = readings.get("AC") == readings.get("BD")
    found = {}
    for name, value in readings.items():
        change, spread = expected[name] - value, uncertainties[name]
        explanations = [_explained(slip, change, spread) for slip in TAPE_SLIPS[system]]
        explanations += [_turned(value, change, spread), _Explanation(None, _UNNAMED_WEIGHT)]
        if twice and name in ("AC", "BD"):
            explanations.append(_Explanation("the same diagonal entered twice", _TWICE_WEIGHT))
        best = max(explanations, key=lambda explanation: explanation.weight)
        nearness = _off(value - nominal[name]) / _off(expected[name] - nominal[name])
        found[name] = _Explanation(best.slip, best.weight * nearness)
    whole = sum(explanation.weight for explanation in found.values())
    suspects = [
        Suspect(
            reading=name,
            value=readings[name],
            expected=expected[name],
            change=expected[name] - readings[name],
            uncertainty=uncertainties[name],
            slip=explanation.slip,
            plausibility=explanation.weight / whole,
        )
        for name, explanation in found.items()
    ]
    return tuple(sorted(suspects, key=lambda suspect: (-suspect.plausibility, abs(suspect.change))))


def _explained(slip: Slip, change: float, spread: float) -> _Explanation:
    return _Explanation(slip.name, slip.weight * _closeness(abs(change) - slip.size, spread))


def _turned(value: float, change: float, spread: float) -> _Explanation:
    """Sixteenths counted from the wrong inch mark: 5/16 entered where 11/16 was read."""
    part = float(Fraction(value) % 1)
    turned = 1 - 2 * part
    weight = _TURNED_WEIGHT * _closeness(change - turned, spread) if part else 0.0
    return _Explanation("sixteenths counted from the wrong inch mark", weight)


def _off(deviation: float) -> float:
    """How unlikely it is, 1 or more, that a panel deviates so many inches from its nominal size."""
    return 1 + (deviation / _OFF_SIZE) ** 2


def _closeness(distance: float, spread: float) -> float:
    return math.exp(-0.5 * (distance / spread) ** 2)
