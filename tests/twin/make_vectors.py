"""Cases that the measuring parts answer alike here and on the tablet, with the answers given here.

Written to ``vectors.json`` by ``python -m tests.twin.make_vectors`` from the root of the repository. The
inputs come from a seeded generator, so that they only change when this folder does.
"""

import json
from collections.abc import Callable, Iterator
from fractions import Fraction
from math import hypot
from pathlib import Path
from random import Random
from typing import Any

from qc_app.measure.conformity import Limits, Rule, judge
from qc_app.measure.length import Length, format_deviation, format_length, parse_length
from qc_app.measure.quadrilateral import solve
from qc_app.refusal import Refusal
from tests.twin import entries

VECTORS = Path(__file__).with_name("vectors.json")

Case = dict[str, Any]

LINES = ("AB", "DC", "DA", "CB", "AC", "BD")
INCH = 25_400_000
SIXTY_FOURTH = 396_875
SYSTEMS = ("imperial", "metric")
GRADUATIONS = (1, 2, 4, 8, 16, 32, 64)
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
RULES = tuple(rule.value for rule in Rule)


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


def judged(case: Case) -> Case:
    """The verdict on an amount."""
    amount, lower, upper, rounded_to, uncertainty = (
        None if case[name] is None else int(case[name])
        for name in ("amount", "lower", "upper", "rounded_to", "standard_uncertainty")
    )
    assert amount is not None
    limits = Limits(lower, upper, rounded_to)
    return {"verdict": judge(amount, limits, standard_uncertainty=uncertainty, rule=Rule(case["rule"])).value}


def closed(case: Case) -> Case:
    """The misclosure of six readings, and whether it is consistent."""
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
    }


ANSWERS: dict[str, Callable[[Case], Case]] = {
    "entries": parsed,
    "prints": printed,
    "verdicts": judged,
    "panels": closed,
}


def answer(part: str, case: Case) -> Case:
    """What is said of a case: its answer, or the sentence and the facts of the refusal.

    The finished sentence of a refused entry is compared too; elsewhere it holds numbers, which the two
    languages write in different ways.
    """
    try:
        return ANSWERS[part](case)
    except Refusal as refusal:
        said = {"sentence": refusal.sentence, "facts": refusal.facts}
        return said | {"message": str(refusal)} if part == "entries" else said


def cases() -> dict[str, list[Case]]:
    """The inputs of every part, the same each time."""
    random = Random(20_260_302)  # noqa: S311 # cases, no secrets
    return {
        "entries": [{"text": text} for text in entries.every_entry(random)],
        "prints": list(_prints(random)),
        "verdicts": list(_verdicts(random)),
        "panels": list(_panels(random)),
    }


def _prints(random: Random) -> Iterator[Case]:
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


def _verdicts(random: Random) -> Iterator[Case]:
    lower, upper, uncertainty = -2 * SIXTY_FOURTH, 4 * SIXTY_FOURTH, SIXTY_FOURTH // 2
    band = 2 * uncertainty
    edges = [end + guard for end in (lower, upper) for guard in (-band, 0, band)]
    for rule in RULES:
        for amount in (edge + step for edge in edges for step in (-1, 0, 1)):
            for low, high in ((lower, upper), (None, upper), (lower, None)):
                yield _verdict(amount, low, high, uncertainty=uncertainty, rule=rule)
    for rule in RULES:
        for amount in (-150, -149, -50, -51, 0, 49, 50, 51, 149, 150, 151, 250, 251):
            yield _verdict(amount, -100, 200, rounded_to=100, uncertainty=20, rule=rule)
    for _ in range(120):
        ends = sorted(random.randrange(-9, 10) * SIXTY_FOURTH for _ in range(2))
        amount = random.randrange(-40, 41) * (SIXTY_FOURTH // 4)
        spread = random.choice((1, SIXTY_FOURTH // 4, SIXTY_FOURTH, 3 * SIXTY_FOURTH))
        unit = random.choice((None, None, SIXTY_FOURTH, 4 * SIXTY_FOURTH))
        yield _verdict(amount, *ends, rounded_to=unit, uncertainty=spread, rule=random.choice(RULES))
    yield _verdict(0, 0, 0)
    yield _verdict(0, None, None)
    yield _verdict(0, 1, 0)
    yield _verdict(0, 0, 1, rounded_to=0)
    for rule in RULES:
        yield _verdict(0, 0, 1, rule=rule)
        yield _verdict(0, 0, 1, uncertainty=0, rule=rule)


def _verdict(
    amount: int,
    lower: int | None,
    upper: int | None,
    *,
    rounded_to: int | None = None,
    uncertainty: int | None = None,
    rule: str = "simple_acceptance",
) -> Case:
    numbers = {
        "amount": amount,
        "lower": lower,
        "upper": upper,
        "rounded_to": rounded_to,
        "standard_uncertainty": uncertainty,
    }
    return {name: None if n is None else str(n) for name, n in numbers.items()} | {"rule": rule}


def _panels(random: Random) -> Iterator[Case]:
    for number in range(160):
        length, width = random.randrange(60, 481), random.randrange(24, 145)
        lengths = _taped(random, length, width)
        if number % 3:
            slip = random.choice((1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 12))
            lengths[random.choice(LINES)] += random.choice((-1, 1)) * slip
        yield _panel(length, width, lengths, random.choice((1 / 64, 1 / 32, 1 / 16, 0.5 / 25.4)))
    sound = {"AB": 288.0, "DC": 288.0, "DA": 96.0, "CB": 96.0, "AC": 303.5625, "BD": 303.5625}
    for line in LINES:
        for wrong in (0.0, -1.0, 25.4 * sound[line], sound[line] / 12, 2 * sound[line], 0.6 * sound[line]):
            yield _panel(288, 96, sound | {line: wrong})
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


def _panel(length: float, width: float, readings: dict[str, float], uncertainty: float = 1 / 32) -> Case:
    return {
        "length": length,
        "width": width,
        "readings": readings,
        "standard_uncertainty": uncertainty,
    }


def vectors() -> dict[str, list[Case]]:
    """Every case with its answer."""
    return {part: [case | {"answer": answer(part, case)} for case in some] for part, some in cases().items()}


def text_of(found: dict[str, list[Case]]) -> str:
    """JSON with one case on a line, so that a change shows which case it touches."""
    parts = []
    for part, some in found.items():
        lines = ",\n".join(json.dumps(case, ensure_ascii=True, default=_plain) for case in some)
        parts.append(f'"{part}": [\n{lines}\n]')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _plain(value: object) -> str | float:
    return float(value) if isinstance(value, Fraction) else str(value)


if __name__ == "__main__":
    VECTORS.write_text(text_of(vectors()), encoding="ascii", newline="\n")
