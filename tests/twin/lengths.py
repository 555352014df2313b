"""Lengths as they are typed and printed."""

from collections.abc import Iterator
from random import Random

from qc_app.measure.length import Length, format_deviation, format_length, parse_length
from tests.twin import entries
from tests.twin.case import Case

INCH = 25_400_000
SIXTY_FOURTH = 396_875
SYSTEMS = ("imperial", "metric")
GRADUATIONS = (1, 2, 4, 8, 16, 32, 64)


def parsed(case: Case) -> Case:
    """The nanometres of what was typed; as text, since some are beyond the whole numbers of a float."""
    return {"nanometres": str(parse_length(case["text"]).nanometres)}


def printed(case: Case) -> Case:
    """A length, and the same as a deviation."""
    length = Length.from_nanometres(int(case["nanometres"]))
    how = case["denominator"], case["system"]
    return {
        "length": format_length(length, *how, decimals=case["decimals"]),
        "deviation": format_deviation(length, *how, decimals=case["decimals"]),
    }


def typed_cases(random: Random) -> Iterator[Case]:
    """Everything that people might type for a length."""
    yield from ({"text": text} for text in entries.every_entry(random))


def printed_cases(random: Random) -> Iterator[Case]:
    """Lengths on graduations, half-way between them and anywhere, in every way of printing."""
    halves = [INCH // (2 * parts) * odd for parts in GRADUATIONS[:-1] for odd in (1, 3, 5, 23, 25)]
    edges = [0, 1, SIXTY_FOURTH, INCH, 12 * INCH - 1, 12 * INCH, 13 * INCH, 50_000, 150_000, 8_514_000_000]
    drawn = [random.randrange(12_000 * INCH) for _ in range(40)]
    on_tape = [random.randrange(64 * 400) * SIXTY_FOURTH for _ in range(40)]
    for nanometres in (*halves, *edges, *drawn, *on_tape):
        for sign in (1, -1):
            yield {
                "nanometres": str(sign * nanometres),
                "denominator": random.choice(GRADUATIONS),
                "system": random.choice(SYSTEMS),
                "decimals": random.choice((0, 1, 1, 3, 6)),
            }
    for half in halves:  # a quarter goes to no halves, three quarters to two of them
        yield {"nanometres": str(half), "denominator": 8, "system": "imperial", "decimals": 1}
    for denominator, system in ((3, "imperial"), (0, "imperial"), (128, "imperial"), (16, "cubits")):
        yield {"nanometres": "1", "denominator": denominator, "system": system, "decimals": 1}
