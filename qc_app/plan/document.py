"""The written form of a control plan: a TOML document, read into a ``ControlPlan``.

``default.toml`` beside this module shows every key in use. Limits are written as people write them
(``1/16 in``, ``3.5 lb/ft³``, ``18 %``).
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Any, TypeVar

from qc_app.measure.conformity import Rule
from qc_app.plan.characteristic import (
    Band,
    Basis,
    Characteristic,
    Each,
    Overdue,
    PutRight,
    Source,
    Tolerance,
    method,
)
from qc_app.plan.consistency import check_plan
from qc_app.plan.control_plan import ControlPlan, Kind, Station
from qc_app.plan.instrument import INSTRUMENT_KINDS, parse_uncertainty
from qc_app.plan.quantity import Quantity, parse_amount
from qc_app.refusal import Refusal, shortened
from qc_app.spc.patterns import ALL

Table = Mapping[str, Any]
E = TypeVar("E", bound=StrEnum)

KEYS: dict[str, dict[str, Any]] = {
    "control plan": {
        "name": str,
        "rules": [str],
        "uncertainty": dict,
        "station": dict,
        "kind": dict,
        "characteristic": [dict],
        "translation": dict,
    },
    "station": {"name": str, "cautions": [str], "hold_point": bool},
    "kind": {"name": str, "route": [str], "lot": bool},
    "characteristic": {
        **dict.fromkeys(
            ("key", "name", "station", "method", "how", "each", "target", "decision_rule", "together"), str
        ),
        **dict.fromkeys(("put_right", "overdue_instrument"), str),
        "signal_holds": bool,
        **{key: [str] for key in ("kinds", "places", "instruments")},
        **dict.fromkeys(("sample", "every"), int),
        "limits": dict,
    },
    "limits": {
        **dict.fromkeys(("basis", "plus_minus", "plus", "minus", "per", "lower", "upper", "rounded_to"), str),
        "bands": [dict],
    },
    "band": dict.fromkeys(("depth_up_to", "target", "lower", "upper"), str),
}
"""The keys each table may have, and the type of each; in brackets, a list of them."""


def read_plan(text: str) -> ControlPlan:
    """A control plan from its document.

    Raises
    ------
    Refusal
        If the document is not TOML, lacks a key or has one that means nothing, names an unknown station,
        kind, method or unit, or asks for something that no panel could be measured by.
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
    _check_tables(document)
    stations = tuple(
        Station(key, table["name"], tuple(table.get("cautions", ())), table.get("hold_point", True))
        for key, table in document["station"].items()
    )
    kinds = tuple(
        Kind(key, table["name"], tuple(table["route"]), table.get("lot", False))
        for key, table in document["kind"].items()
    )
    characteristics = tuple(
        read_characteristic(table, kind) for table in document["characteristic"] for kind in table["kinds"]
    )
    uncertainties = {
        kind: parse_uncertainty(kind, text) for kind, text in document.get("uncertainty", {}).items()
    }
    rules = tuple(one_of(ALL, rule) for rule in document.get("rules", ALL))
    translations = document.get("translation", {})
    plan = ControlPlan(document["name"], stations, kinds, characteristics, uncertainties, rules, translations)
    check_plan(plan)
    return plan


def read_characteristic(table: Table, kind: str) -> Characteristic:
    how_measured, limits = method(table["method"]), table.get("limits", {})
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
        decision_rule=_member(Rule, table.get("decision_rule", "simple_acceptance")),
        together=table.get("together", ""),
        instruments=tuple(one_of(INSTRUMENT_KINDS, kind) for kind in table.get("instruments", ())),
        put_right=_member(PutRight, table.get("put_right", PutRight.HERE)),
        signal_holds=table.get("signal_holds", False),
        overdue_instrument=_member(Overdue, table.get("overdue_instrument", Overdue.FLAG)),
    )


def _target(quantity: Quantity, text: str) -> dict[str, Any]:
    if text in tuple(Source) and text != Source.FIXED:
        return {"source": Source(text), "target": None}
    return {"source": Source.FIXED, "target": parse_amount(quantity, text)}


def _tolerance(quantity: Quantity, limits: Table) -> Tolerance:
    stated = [{*limits} & way for way in ({"plus_minus"}, {"plus", "minus"}, {"lower", "upper"}, {"bands"})]
    if sum(map(bool, stated)) > 1:
        raise Refusal(
            "Limits are plus_minus, or plus and minus, or lower and upper, or bands; only one of these."
        )
    amounts = {
        key: parse_amount(quantity, text)
        for key, text in limits.items()
        if key in ("plus_minus", "plus", "minus", "lower", "upper", "rounded_to")
    }
    per = parse_amount(Quantity.LENGTH, limits["per"]) if "per" in limits else None
    rounded_to = amounts.get("rounded_to")
    if stated[0] or stated[1]:
        half = amounts.get("plus_minus", 0)
        minus, plus = amounts.get("minus", half), amounts.get("plus", half)
        return Tolerance(-minus, plus, from_target=True, per=per, rounded_to=rounded_to)
    return Tolerance(amounts.get("lower"), amounts.get("upper"), rounded_to=rounded_to)


def _bands(quantity: Quantity, tables: Sequence[Table]) -> tuple[Band, ...]:
    return tuple(
        Band(
            parse_amount(Quantity.LENGTH, table["depth_up_to"]),
            *(parse_amount(quantity, table[key]) for key in ("target", "lower", "upper")),
        )
        for table in tables
    )


def _member(names: type[E], given: str) -> E:
    return names(one_of(tuple(names), given))


def one_of(known: Sequence[str], given: str) -> str:
    if given not in known:
        raise Refusal(
            "The control plan says “{given}” where it needs one of: {known}.",
            given=given,
            known=", ".join(known),
        )
    return given


def _check_tables(document: Table) -> None:
    check_keys(document, "control plan")
    for what in ("station", "kind"):
        for table in document[what].values():
            check_keys(table, what)
    for table in document["characteristic"]:
        check_keys(table, "characteristic")
        limits = table.get("limits", {})
        check_keys(limits, "limits")
        for band in limits.get("bands", ()):
            check_keys(band, "band")
    for language, words in document.get("translation", {}).items():
        check_translation(language, words)


def check_translation(language: str, words: Any) -> None:
    if not re.fullmatch("[a-z]{2}", language):
        raise Refusal(
            "A translation is named by the two letters of its language, such as es. Given: “{given}”.",
            given=shortened(language),
        )
    if not isinstance(words, dict) or not all(type(text) is str and text for text in words.values()):
        raise Refusal(
            "A translation gives each text another text. Given for {language}: {given}.",
            language=language,
            given=shortened(repr(words)),
        )


def check_keys(table: Any, what: str) -> None:
    known = KEYS[what]
    if not isinstance(table, dict):
        raise Refusal(
            "A {what} is a table of keys. Given: “{given}”.", what=what, given=shortened(str(table))
        )
    for key, value in table.items():
        if key not in known:
            raise Refusal(
                "A {what} has no key “{given}”. Known: {known}.",
                what=what,
                given=shortened(key),
                known=", ".join(known),
            )
        if not _is_of_type(value, known[key]):
            raise Refusal(
                "The value of {key} is of another kind. Given: {given}.",
                key=key,
                given=shortened(repr(value)),
            )


def _is_of_type(value: Any, wanted: Any) -> bool:
    if isinstance(wanted, list):
        return isinstance(value, list) and all(_is_of_type(part, wanted[0]) for part in value)
    return type(value) is wanted
