"""One reading by a method of a control plan: from what is typed to the verdict."""

from collections.abc import Mapping

from qc_app.measure.conformity import Limits, Rule, judge
from qc_app.measure.length import Length
from qc_app.plan.method import METHODS, Circumstances, Companion
from qc_app.plan.subject import Bay, Subject
from tests.twin.case import Case
from tests.twin.lengths import INCH, SIXTY_FOURTH

UNKNOWN: tuple[dict[str, int], ...] = ({}, {"tape": 0}, {"scale": 5})
HOSTILE = ("", " ", "\u00a0", "0", "-1", "nan", "{given}", "<b>", "٣", "📏" * 41, "9" * 200, "\x85", "8,514")

Sizes = dict[str, int | None]

BAY_DEPTH, BORE = 11 * INCH + INCH // 4, 2 * INCH
PANEL: Sizes = {
    "length": 288 * INCH,
    "width": 96 * INCH,
    "depth": BAY_DEPTH,
    "bay_width": None,
    "bay_depth": None,
    "bore": None,
    "target": None,
}
KNOWN = {
    "tape": SIXTY_FOURTH // 2,
    "scale": 500_000,
    "core_cutter": 254_000,
    "moisture_meter": 1_000_000,
    "bay_volume": 2_000_000,
}
BAY: Sizes = PANEL | {"bay_width": 22 * INCH + INCH // 2, "bay_depth": BAY_DEPTH, "target": 3_500_000}
CORE: Sizes = BAY | {"bore": BORE}


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
    at = {name: int(text) for name, text in given.items() if isinstance(text, str)}
    bays = (Bay(1, at["bay_width"], at["bay_depth"]),) if "bay_depth" in at else ()
    return Circumstances(
        Subject("W-101", "wall", 1, at["length"], at["width"], at["depth"], bays),
        "bay 1",
        Length.from_nanometres(at["bore"]) if "bore" in at else None,
        {kind: int(grains) for kind, grains in given["uncertainties"].items()},
        at.get("target"),
    )


def _whole(text: str | None) -> int | None:
    return None if text is None else int(text)


def _text(number: int | None) -> str | None:
    return None if number is None else str(number)


def reading(
    method: str,
    entries: dict[str, str],
    limits: tuple[int | None, int | None, int | None],
    rule: str = "simple_acceptance",
    known: Mapping[str, int] = KNOWN,
    sizes: Sizes = PANEL,
) -> Case:
    """The case of these entries; ``limits`` are the lower, the upper, and what a value is rounded to."""
    return {
        "method": method,
        "entries": entries,
        "circumstances": {
            **{name: str(size) for name, size in sizes.items() if size is not None},
            "uncertainties": {kind: str(grains) for kind, grains in known.items()},
        },
        "limits": dict(zip(("lower", "upper", "rounded_to"), map(_text, limits), strict=True)),
        "rule": rule,
    }
