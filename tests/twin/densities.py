"""Densities of cores and of whole bays."""

from collections.abc import Iterator
from itertools import product
from random import Random

from tests.twin.case import Case
from tests.twin.lengths import INCH
from tests.twin.reading import BAY, BAY_DEPTH, BORE, CORE, HOSTILE, KNOWN, PANEL, reading
from tests.twin.verdicts import RULES

LEAST_AND_MOST = (  # the bay holds 14.0625 ft³
    *("7 lb", "7.03 lb", "7.03125 lb", "7.04 lb", "14 lb", "20 lb"),
    *("210 lb", "210.93 lb", "210.9375 lb", "210.94 lb", "212 lb", "10000"),
)


def core_cases(random: Random) -> Iterator[Case]:
    """Cores within limits, on them and beyond; with instruments unknown; and cores refused."""
    yield from _cores(random)
    yield from _refused_cores()


def fill_cases(random: Random) -> Iterator[Case]:
    """Bays by the mass blown in, likewise."""
    yield from _fills(random)
    yield from _refused_fills()


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
        yield reading("core", entries, limited, random.choice(RULES), known, sizes=CORE)
    yield reading("core", {"mass": "1", "depth": "0.000001 mm"}, limits, known={}, sizes=CORE)
    entries = {"mass": "32.5 g", "depth": "11 1/4"}
    for missing in ("scale", "core_cutter", "tape"):
        rest = {kind: grains for kind, grains in KNOWN.items() if kind != missing}
        for known in (rest, rest | {missing: 0}):
            yield reading("core", entries, limits, known=known, sizes=CORE)
            yield reading("core", entries, limits, RULES[1], known, sizes=CORE)
    for deeper in (6_350_000, 6_350_001, 6_349_999):
        depth = f"{(BAY_DEPTH + deeper) / 1e6} mm"
        yield reading("core", {"mass": "33 g", "depth": depth}, limits, sizes=CORE)
    yield reading("core", {"mass": "33 g", "depth": "12'"}, limits, sizes=PANEL | {"bore": BORE})


def _refused_cores() -> Iterator[Case]:
    limits, good = (3_300_000, None, None), {"mass": "32.5 g", "depth": "11 1/4", "tare": "1 g"}
    for field, text in product(good, (*HOSTILE, "32.5 g", "40 g", "1.15 lb", "0.5 in", "1/64")):
        yield reading("core", good | {field: text}, limits, sizes=CORE)
    for bore in (None, 0, -INCH):
        yield reading("core", good, limits, sizes=CORE | {"bore": bore})
    yield reading("core", {}, limits, sizes=CORE)
    yield reading("core", {"mass": "0", "depth": "0"}, limits, sizes=CORE)


def _fills(random: Random) -> Iterator[Case]:
    limits = (3_300_000, 3_900_000, None)
    for _ in range(70):
        pounds = random.randrange(430, 540) / 10
        mass = random.choice((f"{pounds} lb", f"{pounds * 0.4536:.2f} kg", f"{pounds * 453.6:.0f}"))
        entries = {"mass": mass} | random.choice(({}, {"setting": "gate 4, air 7", "seconds": "95"}))
        known = KNOWN | random.choice(({}, {"scale": 90_000_000}, {"bay_volume": 500_000}))
        sizes = BAY | random.choice(({}, {"target": random.randrange(5_000_000)}, {"target": None}))
        yield reading("fill", entries, limits, random.choice(RULES), known, sizes)
    for missing in ("scale", "bay_volume"):
        rest = {kind: grains for kind, grains in KNOWN.items() if kind != missing}
        for known in (rest, rest | {missing: 0}):
            yield reading("fill", {"mass": "49 lb"}, limits, known=known, sizes=BAY)
            yield reading("fill", {"mass": "49 lb"}, limits, RULES[1], known, BAY)


def _refused_fills() -> Iterator[Case]:
    limits = (3_300_000, 3_900_000, None)
    good = {"mass": "49 lb", "setting": "gate 4, air 7", "seconds": "95"}
    texts = (
        "a\nb",
        "tor\u200b 4",
        "4\u00a0\u00b7\u00a07",
        "\ue000",
        "□",
        "x" * 40,
        "x" * 41,
        "\t4\n",
        "a\u2028b",
        "Größe 4",
    )
    for field, text in product(good, (*HOSTILE, *texts, *LEAST_AND_MOST)):
        yield reading("fill", good | {field: text}, limits, sizes=BAY)
    yield reading("fill", good, limits)
    yield reading("fill", {}, limits, sizes=BAY)
    for name in ("bay_width", "bay_depth", "width", "target"):
        for size in (0, -INCH):
            yield reading("fill", good, limits, sizes=BAY | {name: size})
