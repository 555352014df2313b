"""Readings by every method of a control plan: from what is typed to the verdict."""

from collections.abc import Iterator, Mapping
from itertools import product
from random import Random

from qc_app.measure.conformity import Limits, Rule, judge
from qc_app.measure.length import Length, format_length
from qc_app.plan.method import METHODS, Circumstances, Companion
from qc_app.plan.subject import Bay, Subject
from tests.twin.case import Case
from tests.twin.lengths import INCH, SIXTY_FOURTH
from tests.twin.verdicts import RULES

UNKNOWN: tuple[dict[str, int], ...] = ({}, {"tape": 0}, {"scale": 5})
HOSTILE = ("", " ", "\u00a0", "0", "-1", "nan", "{given}", "<b>", "٣", "📏" * 41, "9" * 200, "\x85", "8,514")
TAPE, SCALE, CUTTER, METER = SIXTY_FOURTH // 2, 500_000, 254_000, 1_000_000
Sizes = dict[str, int | None]

BAY_DEPTH, BORE = 11 * INCH + INCH // 4, 2 * INCH
PANEL: Sizes = {
    "length": 288 * INCH,
    "width": 96 * INCH,
    "depth": BAY_DEPTH,
    "bay_depth": None,
    "bore": None,
}
KNOWN = {"tape": TAPE, "scale": SCALE, "core_cutter": CUTTER, "moisture_meter": METER}
CORE: Sizes = PANEL | {"bay_depth": BAY_DEPTH, "bore": BORE}


def measured(case: Case) -> Case:
    """What the entries amount to, and the verdict on it."""
    found = METHODS[case["method"]].work_out(case["entries"], _circumstances(case["circumstances"]))
    lower, upper, rounded_to = (_whole(case["limits"][name]) for name in ("lower", "upper", "rounded_to"))
    uncertainty = found.standard_uncertainty
    limits, rule = Limits(lower, upper, rounded_to), Rule(case["rule"])
    return {
        "amount": str(found.amount),
        "standard_uncertainty": _text(uncertainty),
        "companions": [_companion(companion) for companion in found.companions],
        "advice": found.advice,
        "verdict": judge(found.amount, limits, standard_uncertainty=uncertainty, rule=rule).value,
    }


def _companion(companion: Companion) -> Case:
    amount = companion.amount if companion.quantity is None else str(companion.amount)
    return {"name": companion.name, "quantity": companion.quantity, "amount": amount}


def _circumstances(given: Case) -> Circumstances:
    length, width, depth, bay_depth, bore = (
        _whole(given[name]) for name in ("length", "width", "depth", "bay_depth", "bore")
    )
    assert length is not None
    assert width is not None
    assert depth is not None
    bays = () if bay_depth is None else (Bay(1, 14 * INCH, bay_depth),)
    return Circumstances(
        Subject("W-101", "wall", 1, length, width, depth, bays),
        "bay 1",
        None if bore is None else Length.from_nanometres(bore),
        {kind: int(grains) for kind, grains in given["uncertainties"].items()},
    )


def _whole(text: str | None) -> int | None:
    return None if text is None else int(text)


def _text(number: int | None) -> str | None:
    return None if number is None else str(number)


def measured_cases(random: Random) -> Iterator[Case]:
    """Readings by every method, within limits, on them and beyond, by every rule; and entries refused."""
    yield from _tape(random)
    yield from _diagonals(random)
    yield from _cores(random)
    yield from _refused_cores()
    yield from _meter(random)
    yield from _checks()


def _reading(
    method: str,
    entries: dict[str, str],
    limits: tuple[int | None, int | None, int | None],
    rule: str = "simple_acceptance",
    known: Mapping[str, int] = KNOWN,
    sizes: Sizes = PANEL,
) -> Case:
    return {
        "method": method,
        "entries": entries,
        "circumstances": {
            **{name: _text(size) for name, size in sizes.items()},
            "uncertainties": {kind: str(grains) for kind, grains in known.items()},
        },
        "limits": dict(zip(("lower", "upper", "rounded_to"), map(_text, limits), strict=True)),
        "rule": rule,
    }


def _tape(random: Random) -> Iterator[Case]:
    limits = (96 * INCH - 4 * SIXTY_FOURTH, 96 * INCH + 4 * SIXTY_FOURTH, None)
    for rule, sixty_fourths in product(RULES, range(-6, 7)):
        text = format_length(Length.from_nanometres(96 * INCH + sixty_fourths * SIXTY_FOURTH), 64)
        yield _reading("tape", {"length": text}, limits, rule)
    for rule, known in product(RULES, UNKNOWN):
        yield _reading("tape", {"length": "8'"}, limits, rule, known)
    for text in HOSTILE:
        yield _reading("tape", {"length": text}, limits)
    yield _reading("tape", {}, limits)
    yield _reading("tape", {"width": "8'"}, limits)
    for _ in range(20):
        text = f"{random.randrange(2400, 2480)} mm"
        yield _reading("tape", {"length": text}, (*limits[:2], 1_000_000), random.choice(RULES))


def _diagonals(random: Random) -> Iterator[Case]:
    for method in ("difference_of_diagonals", "lean_over_width"):
        limits = (-8 * SIXTY_FOURTH, 8 * SIXTY_FOURTH, None)
        for rule in RULES:
            for _ in range(25):
                middle = Length.from_nanometres((303 * 64 + 36 + random.randrange(-9, 10)) * SIXTY_FOURTH)
                off = Length.from_nanometres(random.randrange(-12, 13) * SIXTY_FOURTH)
                entries = {"ac": format_length(middle + off, 64), "bd": format_length(middle, 64)}
                known = random.choice((KNOWN, {"tape": random.randrange(1, 900_000)}))
                yield _reading(method, entries, limits, rule, known)
        for _ in range(40):
            length, width = (random.randrange(40, 500) * INCH + random.randrange(INCH) for _ in range(2))
            diagonal = round((length**2 + width**2) ** 0.5 / 1_000_000)
            ac, bd = (diagonal + random.randrange(-60, 60) for _ in range(2))
            entries = {"ac": f"{ac}.{random.randrange(10)} mm", "bd": f"{bd} mm"}
            yield _reading(method, entries, limits, sizes=PANEL | {"length": length, "width": width})
        yield from _refused_diagonals(method, limits)


def _refused_diagonals(method: str, limits: tuple[int, int, None]) -> Iterator[Case]:
    good = "25' 3 9/16\""
    for text in (*HOSTILE, "16'", "32'", "31' 11 63/64\"", "16' 1/64\"", "303.5625 mm", "400"):
        yield _reading(method, {"ac": text, "bd": good}, limits)
        yield _reading(method, {"ac": good, "bd": text}, limits)
    for text in ("21'", "29'", "303.5625", "7 m"):
        yield _reading(method, {"ac": text, "bd": text}, limits)
    for name, size in (("length", 0), ("width", 0), ("width", -INCH), ("length", INCH)):
        yield _reading(method, {"ac": good, "bd": good}, limits, sizes=PANEL | {name: size})
    for known in (*UNKNOWN, {"tape": 1}):
        yield _reading(method, {"ac": good, "bd": good}, limits, RULES[1], known)
    yield _reading(method, {}, limits)


def _cores(random: Random) -> Iterator[Case]:
    limits = (3_300_000, 3_900_000, None)
    for _ in range(120):
        grams = random.randrange(250, 420) / 10
        mass = random.choice((f"{grams} g", f"{grams}", f"{grams / 1000:.4f} kg", f"{grams / 28.35:.2f} oz"))
        depth = random.choice(
            ('11 1/4"', "11 1/2", "10 3/4", '5 1/2"', "285 mm", f"{random.random() + 10:.4f}")
        )
        entries = {"mass": mass, "depth": depth} | random.choice(({}, {"tare": ""}, {"tare": "1.2 g"}))
        known = KNOWN | random.choice(
            ({}, {"scale": 3_000_000}, {"core_cutter": 900_000}, {"tape": 9_000_000}, {"scale": 100_000})
        )
        limited = random.choice((limits, (*limits[:2], 100_000)))
        yield _reading("core", entries, limited, random.choice(RULES), known, sizes=CORE)
    entries = {"mass": "32.5 g", "depth": "11 1/4"}
    for missing in ("scale", "core_cutter", "tape"):
        rest = {kind: grains for kind, grains in KNOWN.items() if kind != missing}
        for known in (rest, rest | {missing: 0}):
            yield _reading("core", entries, limits, known=known, sizes=CORE)
            yield _reading("core", entries, limits, RULES[1], known, sizes=CORE)
    for deeper in (6_350_000, 6_350_001, 6_349_999):
        depth = f"{(BAY_DEPTH + deeper) / 1e6} mm"
        yield _reading("core", {"mass": "33 g", "depth": depth}, limits, sizes=CORE)
    yield _reading("core", {"mass": "33 g", "depth": "12'"}, limits, sizes=PANEL | {"bore": BORE})


def _refused_cores() -> Iterator[Case]:
    limits, good = (3_300_000, None, None), {"mass": "32.5 g", "depth": "11 1/4", "tare": "1 g"}
    for field, text in product(good, (*HOSTILE, "32.5 g", "40 g", "1.15 lb", "0.5 in", "1/64")):
        yield _reading("core", good | {field: text}, limits, sizes=CORE)
    for bore in (None, 0, -INCH):
        yield _reading("core", good, limits, sizes=CORE | {"bore": bore})
    yield _reading("core", {}, limits, sizes=CORE)
    yield _reading("core", {"mass": "0", "depth": "0"}, limits, sizes=CORE)


def _meter(random: Random) -> Iterator[Case]:
    limits = (None, 16_000_000, None)
    for rule, text in product(
        RULES, ("13.9", "14", "14.000001 %", "15,5", "16 %", "16.000001", "18", "18.0001")
    ):
        yield _reading("meter", {"percent": text}, limits, rule)
        yield _reading("meter", {"percent": text}, (*limits[:2], 1_000_000), rule)
    for text in (*HOSTILE, "200", "200.1", "14.0000005", "14.0000015", "%"):
        yield _reading("meter", {"percent": text}, limits)
    for rule in RULES:
        text = f"{random.randrange(10**8) / 10**7:.7f}"
        yield _reading("meter", {"percent": text}, limits, rule, {})


def _checks() -> Iterator[Case]:
    answers = ("yes", "no", " YES ", "No\n", "\u00a0no", "y", "maybe  so", "ſ", "Ⓨes", "YES" * 30, *HOSTILE)
    faults = ("", " ", "0", " 0 ", "00", "1", "2", " 17\u00a0", "9999", "10000", "-1", "two", "٣")
    for passed, count in product(answers, faults[::2]):
        yield _reading("check", {"passed": passed, "faults": count}, (None, 0, None))
    for passed, count in product(("yes", "no"), faults[1::2]):
        yield _reading("check", {"passed": passed, "faults": count}, (None, 2, None))
    for entries in ({}, {"passed": "yes"}, {"passed": "no"}, {"faults": "2"}):
        yield _reading("check", entries, (None, 0, None))
    yield _reading("check", {"passed": "no", "faults": "1"}, (None, 0, None), RULES[1])
