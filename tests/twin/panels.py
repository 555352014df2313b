"""Six readings of a panel, and the shape that follows."""

from collections.abc import Iterator
from itertools import groupby
from math import hypot
from random import Random
from typing import Literal

from qc_app.measure.quadrilateral import PanelShape, Suspect, solve
from tests.twin.case import Case

LINES = ("AB", "DC", "DA", "CB", "AC", "BD")
DIMENSIONS = (
    "diagonal_difference",
    "lean",
    "angle",
    "length_taper",
    "width_taper",
    "mid_length",
    "mid_width",
)
SUSPECT = ("reading", "value", "expected", "change", "uncertainty", "slip", "plausibility")
SYSTEMS: tuple[Literal["imperial", "metric"], ...] = ("imperial", "metric")
SLIPS = {
    "imperial": (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 10, 12, 24),
    "metric": tuple(millimetres / 25.4 for millimetres in (5, 7, 10, 20, 100, 1000)),
}
NEAR = 1e-9
CONTRADICTIONS = (  # in the order of LINES: not convex, not settled, or settled far from what was read
    (190, 120, 215, 110, 100, 190),
    (200, 125, 175, 240, 115, 135),
    (210, 215, 190, 165, 240, 85),
    (175, 240, 135, 170, 200, 160),
    (220, 150, 210, 225, 170, 225),
    (170, 155, 205, 240, 90, 130),
    (140, 150, 235, 85, 160, 165),
    (235, 200, 235, 220, 70, 60),
)


def measured(case: Case) -> Case:
    """The misclosure of six readings, whether it is consistent, and the shape with what follows from it."""
    ab, dc, da, cb, ac, bd = (case["readings"][line] for line in LINES)
    panel = solve(
        case["length"],
        case["width"],
        edges=(ab, dc),
        ends=(da, cb),
        diagonals=(ac, bd),
        uncertainty=case["standard_uncertainty"],
    )
    return {
        "misclosure": panel.misclosure,
        "misclosure_uncertainty": panel.misclosure_uncertainty,
        "is_consistent": panel.is_consistent,
        "corners": dict(zip("ABCD", panel.corners.tolist(), strict=True)),
        **{name: getattr(panel, name) for name in DIMENSIONS},
        "suspects": _in_order(panel.suspects(case["system"])),
        "squaring_move": _move(panel),
    }


def _in_order(suspects: tuple[Suspect, ...]) -> list[Case]:
    """Most plausible first; among equally plausible ones, as on a rectangle, by name."""
    found = [{name: getattr(suspect, name) for name in SUSPECT} for suspect in suspects]
    ordered = groupby(found, lambda suspect: round(suspect["plausibility"], 6))
    return [suspect for _, equal in ordered for suspect in sorted(equal, key=lambda one: one["reading"])]


def _move(panel: PanelShape[float, bool]) -> Case | None:
    """The squaring move; one of no size, the last places of a float, is none."""
    move = panel.squaring_move
    if move is None or move.distance < NEAR:
        return None
    return {
        "corner": move.corner,
        "towards": move.towards,
        "distance": move.distance,
        "diagonal": move.diagonal,
    }


def measured_cases(random: Random) -> Iterator[Case]:
    """Sound panels, panels with one slip, and readings that cannot be."""
    for number in range(160):
        length, width = random.randrange(60, 481), random.randrange(24, 145)
        lengths, system = _taped(random, length, width), random.choice(SYSTEMS)
        if number % 3:
            lengths[random.choice(LINES)] += random.choice((-1, 1)) * random.choice(SLIPS[system])
        uncertainty = random.choice((1 / 64, 1 / 32, 1 / 16, 0.5 / 25.4))
        yield _panel(length, width, lengths, uncertainty, system)
    for _ in range(24):
        length, width = random.randrange(96, 481), random.randrange(48, 145)
        lengths, line = _taped(random, length, width), random.choice(LINES)
        part = lengths[line] % 1
        twice = {"AC": lengths["BD"]}
        turned = {line: lengths[line] - part + 1 - part} if part else twice
        yield _panel(length, width, lengths | random.choice((twice, turned)), 1 / 64)
    sound = {"AB": 288.0, "DC": 288.0, "DA": 96.0, "CB": 96.0, "AC": 303.5625, "BD": 303.5625}
    for line in LINES:
        for wrong in (0.0, -1.0, 25.4 * sound[line], sound[line] / 12, 2 * sound[line], 0.6 * sound[line]):
            yield _panel(288, 96, sound | {line: wrong})
    yield _panel(288, 96, sound)
    yield _panel(288, 96, sound | {"AC": 303.625, "BD": 303.5})
    yield _panel(288, 96, sound | {"AC": 303.5, "BD": 303.625})
    for line, edge in (("AC", 384), ("AC", 192), ("BD", 384), ("AB", 864), ("AB", 96), ("CB", 32)):
        for beside in (-0.0625, 0, 0.0625):
            yield _panel(288, 96, sound | {line: edge + beside})
    yield _panel(0, 96, sound)
    yield _panel(288, -1, sound)
    yield _panel(
        90.0625, 90.0625, sound
    )  # 90.062: a nominal size is shown to 0.001, half-way to the even one
    for uncertainty in (0.0, -1.0):
        yield _panel(288, 96, sound, uncertainty)
    for six in CONTRADICTIONS:
        yield _panel(100, 100, dict(zip(LINES, six, strict=True)))
    yield _panel(100, 100, dict(zip(LINES, (100, 60, 90, 70, 129, 118), strict=True)))


def _taped(random: Random, length: int, width: int) -> dict[str, float]:
    """Six lengths of a panel with each corner a little off, read to a sixteenth."""
    ends = {"A": (0, 0), "B": (length, 0), "C": (length, width), "D": (0, width)}
    off = random.choice((0.02, 0.2, 2))
    corners = {name: (x + random.gauss(0, off), y + random.gauss(0, off)) for name, (x, y) in ends.items()}
    found = {}
    for line in LINES:
        (x1, y1), (x2, y2) = corners[line[0]], corners[line[1]]
        found[line] = round(16 * (hypot(x2 - x1, y2 - y1) + random.gauss(0, 1 / 40))) / 16
    return found


def _panel(
    length: float,
    width: float,
    readings: dict[str, float],
    uncertainty: float = 1 / 32,
    system: str = "imperial",
) -> Case:
    return {
        "length": length,
        "width": width,
        "readings": readings,
        "standard_uncertainty": uncertainty,
        "system": system,
    }
