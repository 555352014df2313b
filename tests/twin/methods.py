"""Readings by every method of a control plan."""

from collections.abc import Iterator
from itertools import product
from random import Random

from qc_app.measure.length import Length, format_length
from tests.twin import checks, densities
from tests.twin.case import Case
from tests.twin.lengths import INCH, SIXTY_FOURTH
from tests.twin.reading import HOSTILE, KNOWN, PANEL, UNKNOWN, reading
from tests.twin.verdicts import RULES


def measured_cases(random: Random) -> Iterator[Case]:
    """Readings by every method, within limits, on them and beyond, by every rule; and entries refused."""
    yield from _tape(random)
    yield from _diagonals(random)
    yield from densities.core_cases(random)
    yield from densities.fill_cases(random)
    yield from _meter(random)
    yield from checks.check_cases()


def _tape(random: Random) -> Iterator[Case]:
    limits = (96 * INCH - 4 * SIXTY_FOURTH, 96 * INCH + 4 * SIXTY_FOURTH, None)
    for rule, sixty_fourths in product(RULES, range(-6, 7)):
        text = format_length(Length.from_nanometres(96 * INCH + sixty_fourths * SIXTY_FOURTH), 64)
        yield reading("tape", {"length": text}, limits, rule)
    for rule, known in product(RULES, UNKNOWN):
        yield reading("tape", {"length": "8'"}, limits, rule, known)
    for text in HOSTILE:
        yield reading("tape", {"length": text}, limits)
    yield reading("tape", {}, limits)
    yield reading("tape", {"width": "8'"}, limits)
    for _ in range(20):
        text = f"{random.randrange(2400, 2480)} mm"
        yield reading("tape", {"length": text}, (*limits[:2], 1_000_000), random.choice(RULES))


def _diagonals(random: Random) -> Iterator[Case]:
    for method in ("difference_of_diagonals", "lean_over_width"):
        limits = (-6 * SIXTY_FOURTH, 6 * SIXTY_FOURTH, None)
        for rule in RULES:
            for _ in range(25):
                middle = Length.from_nanometres((303 * 64 + 36 + random.randrange(-9, 10)) * SIXTY_FOURTH)
                off = Length.from_nanometres(random.randrange(-12, 13) * SIXTY_FOURTH)
                entries = {"ac": format_length(middle + off, 64), "bd": format_length(middle, 64)}
                known = random.choice((KNOWN, {"tape": random.randrange(1, 900_000)}))
                yield reading(method, entries, limits, rule, known)
        for _ in range(40):
            length, width = (random.randrange(40, 500) * INCH + random.randrange(INCH) for _ in range(2))
            diagonal = round((length**2 + width**2) ** 0.5 / 1_000_000)
            ac, bd = (diagonal + random.randrange(-60, 60) for _ in range(2))
            entries = {"ac": f"{ac}.{random.randrange(10)} mm", "bd": f"{bd} mm"}
            yield reading(method, entries, limits, sizes=PANEL | {"length": length, "width": width})
        yield from _refused_diagonals(method, limits)


def _refused_diagonals(method: str, limits: tuple[int, int, None]) -> Iterator[Case]:
    good = "25' 3 9/16\""
    for text in (*HOSTILE, "16'", "32'", "31' 11 63/64\"", "16' 1/64\"", "303.5625 mm", "400"):
        yield reading(method, {"ac": text, "bd": good}, limits)
        yield reading(method, {"ac": good, "bd": text}, limits)
    for text in ("21'", "29'", "303.5625", "7 m"):
        yield reading(method, {"ac": text, "bd": text}, limits)
    for ac in (
        "130",
        "129 63/64",
        "130 1/64",
    ):  # the squares of 130 and 90 are a quarter over those of the sides
        sizes = PANEL | {"length": 60 * INCH, "width": 80 * INCH}
        yield reading(method, {"ac": ac, "bd": "90"}, limits, sizes=sizes)
    for name, size in (("length", 0), ("width", 0), ("width", -INCH), ("length", INCH)):
        yield reading(method, {"ac": good, "bd": good}, limits, sizes=PANEL | {name: size})
    for known in (*UNKNOWN, {"tape": 1}):
        yield reading(method, {"ac": good, "bd": good}, limits, RULES[1], known)
    yield reading(method, {}, limits)


def _meter(random: Random) -> Iterator[Case]:
    limits = (None, 16_000_000, None)
    for rule, text in product(
        RULES, ("13.9", "14", "14.000001 %", "15,5", "16 %", "16.000001", "18", "18.0001")
    ):
        yield reading("meter", {"percent": text}, limits, rule)
        yield reading("meter", {"percent": text}, (*limits[:2], 1_000_000), rule)
    for text in (*HOSTILE, "200", "200.1", "14.0000005", "14.0000015", "%"):
        yield reading("meter", {"percent": text}, limits)
    for rule in RULES:
        text = f"{random.randrange(10**8) / 10**7:.7f}"
        yield reading("meter", {"percent": text}, limits, rule, {})
