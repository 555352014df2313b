"""The written form of a control plan: a TOML document, read into a ``ControlPlan``.

``default.toml`` beside this module shows every key in use. Limits are written as people write them
(``1/16 in``, ``3.5 lb/ft³``, ``18 %``).
"""

import tomllib
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, TypeVar

from qc_app.plan.characteristic import Band, Basis, Characteristic, Each, Source, Tolerance, method
from qc_app.plan.control_plan import ControlPlan, Kind, Station
from qc_app.plan.instrument import INSTRUMENT_KINDS
from qc_app.plan.quantity import Quantity, parse_amount
from qc_app.refusal import Refusal

DECISION_RULES = ("simple acceptance",)

Table = Mapping[str, Any]
E = TypeVar("E", bound=StrEnum)


def read_plan(text: str) -> ControlPlan:
    """A control plan from its document.

    Raises
    ------
    Refusal
        If the document is not TOML, lacks a key, names an unknown station, kind, method or unit, or checks
        the same characteristic twice on one kind.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise Refusal("The control plan is not readable TOML: {error}.", error=error) from error
    try:
        return _plan(document)
    except KeyError as missing:
        raise Refusal("The control plan lacks the key {key}.", key=missing) from missing


def _plan(document: Table) -> ControlPlan:
    stations = tuple(
        Station(key, table["name"], tuple(table.get("cautions", ())))
        for key, table in document["station"].items()
    )
    kinds = tuple(
        Kind(key, table["name"], tuple(table["route"]), table.get("lot", False))
        for key, table in document["kind"].items()
    )
    characteristics = tuple(
        _characteristic(table, kind) for table in document["characteristic"] for kind in table["kinds"]
    )
    plan = ControlPlan(document["name"], stations, kinds, characteristics)
    _check_names(plan)
    return plan


def _characteristic(table: Table, kind: str) -> Characteristic:
    how_measured = method(table["method"])
    limits = table.get("limits", {})
    return Characteristic(
        key=table["key"],
        kind=kind,
        station=table["station"],
        name=table["name"],
        method=how_measured,
        how=table.get("how", ""),
        places=tuple(table.get("places", ())),
        each=_member(Each, table["each"]) if "each" in table else None,
        sample=table.get("sample", 0),
        every=table.get("every", 1),
        **_target(how_measured.quantity, table.get("target", "none")),
        basis=_member(Basis, limits.get("basis", "fixed")),
        tolerance=_tolerance(how_measured.quantity, limits),
        bands=_bands(how_measured.quantity, limits.get("bands", ())),
        decision_rule=_one_of(DECISION_RULES, table.get("decision_rule", "simple acceptance")),
        instruments=tuple(_one_of(INSTRUMENT_KINDS, kind) for kind in table.get("instruments", ())),
    )


def _target(quantity: Quantity, text: str) -> dict[str, Any]:
    if text in tuple(Source) and text != Source.FIXED:
        return {"source": Source(text), "target": None}
    return {"source": Source.FIXED, "target": parse_amount(quantity, text)}


def _tolerance(quantity: Quantity, limits: Table) -> Tolerance:
    if not limits:
        raise Refusal("Every characteristic needs limits of tolerance; one has none.")
    if "plus_minus" in limits:
        half = parse_amount(quantity, limits["plus_minus"])
        return Tolerance(-half, half, from_target=True)
    lower, upper = (
        parse_amount(quantity, limits[end]) if end in limits else None for end in ("lower", "upper")
    )
    return Tolerance(lower, upper)


def _bands(quantity: Quantity, tables: Sequence[Table]) -> tuple[Band, ...]:
    bands = [
        Band(
            parse_amount(Quantity.LENGTH, table["depth_up_to"]),
            *(parse_amount(quantity, table[key]) for key in ("target", "lower", "upper")),
        )
        for table in tables
    ]
    return tuple(sorted(bands, key=lambda band: band.depth_up_to))


def _member(names: type[E], given: str) -> E:
    return names(_one_of(tuple(names), given))


def _one_of(known: Sequence[str], given: str) -> str:
    if given not in known:
        raise Refusal(
            "The control plan says “{given}” where it needs one of: {known}.",
            given=given,
            known=", ".join(known),
        )
    return given


def _check_names(plan: ControlPlan) -> None:
    for kind in plan.kinds:
        for station in kind.route:
            plan.station(station)
    seen = set()
    for characteristic in plan.characteristics:
        plan.station(characteristic.station)
        if characteristic.station not in plan.kind(characteristic.kind).route:
            raise Refusal(
                "{name} is checked at {station}, which {kind} does not pass.",
                name=characteristic.name,
                station=plan.station(characteristic.station).name,
                kind=plan.kind(characteristic.kind).name,
            )
        if (characteristic.kind, characteristic.key) in seen:
            raise Refusal(
                "The control plan checks “{key}” twice on {kind}.",
                key=characteristic.key,
                kind=plan.kind(characteristic.kind).name,
            )
        seen.add((characteristic.kind, characteristic.key))
