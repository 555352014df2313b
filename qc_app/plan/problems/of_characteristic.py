"""What is wrong with one characteristic of a control plan."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Any

from qc_app.measure.conformity import Rule
from qc_app.plan import document as written
from qc_app.plan.characteristic import Basis, Each, Overdue, PutRight, Source
from qc_app.plan.consistency import MOST_MEMBERS
from qc_app.plan.edit import Path
from qc_app.plan.instrument import INSTRUMENT_KINDS
from qc_app.plan.method import METHODS
from qc_app.plan.problems.problem import (
    Problem,
    Table,
    lacking,
    parts,
    refused,
    texts,
    too_long,
    unknown,
    unknown_keys,
)
from qc_app.plan.quantity import Quantity, parse_amount
from qc_app.refusal import Refusal

LONGEST = {"key": 40, "name": 120, "station": 40}
"""Characters that the tables of readings have room for."""


@dataclass(frozen=True)
class Around:
    """What a characteristic refers to, as far as it is there: tables of the document by key."""

    stations: Mapping[str, Any]
    kinds: Mapping[str, Any]
    uncertainties: Mapping[str, Any]


class CharacteristicSearch:
    """The search through one characteristic, which stands at ``number`` of the plan's list."""

    def __init__(self, around: Around, number: int, table: Any) -> None:
        self.around = around
        self.given = table
        self.path: Path = ("characteristic", number)
        self.table: Table = table if isinstance(table, Mapping) else {}
        self.is_table = isinstance(table, Mapping)
        self.name = str(self.table.get("name") or self.table.get("key") or number + 1)
        limits = self.table.get("limits")
        self.limits: Table = limits if isinstance(limits, Mapping) else {}
        self.method = METHODS.get(str(self.table.get("method")))

    def all(self) -> Iterator[Problem]:
        found = [*self._shape()]
        if self.is_table and not found:
            found = [*self._words(), *self._where(), *self._numbers(), *self._guarded()]
            found += [*self._target(), *self._limits(), *self._bands()]
        yield from found or self._whole()

    def _at(self, *steps: str | int) -> Path:
        return (*self.path, *steps)

    def _no(self, check: Callable[[], object], field: Path, rule: str) -> Iterator[Problem]:
        yield from refused(check, (*self.path, *field), rule, self.name)

    def _said(self, refusal: Refusal, field: Path, rule: str) -> Problem:
        return Problem(refusal, (*self.path, *field), rule, self.name)

    def _shape(self) -> Iterator[Problem]:
        """Keys that mean nothing, values of another kind, and keys that are not there."""
        if not self.is_table:
            yield from unknown_keys(self.given, "characteristic", self.path, "")
            return
        yield from unknown_keys(self.table, "characteristic", self.path, self.name)
        yield from unknown_keys(self.limits, "limits", self._at("limits"), self.name)
        for number, band in enumerate(parts(self.limits.get("bands"))):
            yield from unknown_keys(band, "band", self._at("limits", "bands", number), self.name)
            for key in written.KEYS["band"] if isinstance(band, Mapping) else ():
                yield from lacking(band, key, self._at("limits", "bands", number), self.name)
        for key in ("key", "name", "station", "kinds", "method"):
            yield from lacking(self.table, key, self.path, self.name)

    def _words(self) -> Iterator[Problem]:
        for key, most in LONGEST.items():
            yield from too_long(self.table[key], most, self._at(key), self.name)
        if not self.table["name"].strip():
            yield self._said(Refusal("A characteristic needs a name."), ("name",), "named")
        chosen: dict[str, Sequence[str]] = {
            "method": tuple(METHODS),
            "each": tuple(Each),
            "decision_rule": tuple(Rule),
            "put_right": tuple(PutRight),
            "overdue_instrument": tuple(Overdue),
        }
        for key, known in chosen.items():
            if key in self.table:
                yield from self._no(partial(written.one_of, known, self.table[key]), (key,), "known")
        for kind in self.table.get("instruments", ()):
            yield from self._no(partial(written.one_of, INSTRUMENT_KINDS, kind), ("instruments",), "known")

    def _where(self) -> Iterator[Problem]:
        station = self.table["station"]
        if station not in self.around.stations:
            yield unknown(self._at("station"), "station", station, self.around.stations, self.name)
        for kind in self.table["kinds"]:
            if kind not in self.around.kinds:
                yield unknown(self._at("kinds"), "kind of panel", kind, self.around.kinds, self.name)
            elif station in self.around.stations and station not in self._route(kind):
                yield self._said(
                    Refusal(
                        "{name} is checked at {station}, which {kind} does not pass.",
                        name=self.name,
                        station=station,
                        kind=kind,
                    ),
                    ("station",),
                    "passes",
                )
        if self.method is METHODS["fill"] and self.table.get("each") != Each.BAY:
            refusal = Refusal("A mass of fill needs a reading in each bay; see {name}.", name=self.name)
            yield self._said(refusal, ("each",), "each bay")

    def _route(self, kind: str) -> list[str]:
        table = self.around.kinds[kind]
        return texts(table.get("route")) if isinstance(table, Mapping) else []

    def _numbers(self) -> Iterator[Problem]:
        if self.table.get("every", 1) < 1:
            refusal = Refusal("{name} is checked on every n-th panel; n is 1 or more.", name=self.name)
            yield self._said(refusal, ("every",), "every")
        if not 0 <= self.table.get("sample", 0) <= MOST_MEMBERS:
            yield self._said(
                Refusal(
                    "A sample of {name} has at most {most}, and not fewer than 0. Given: {given}.",
                    name=self.name,
                    most=MOST_MEMBERS,
                    given=self.table["sample"],
                ),
                ("sample",),
                "sample",
            )

    def _guarded(self) -> Iterator[Problem]:
        """A guard band needs an uncertainty: of the plan, since not every instrument states its own."""
        if self.table.get("decision_rule") not in (Rule.GUARDED_ACCEPTANCE, Rule.GUARDED_REJECTION):
            return
        named = self.table.get("instruments", ())
        unknown = set(named) - self.around.uncertainties.keys()
        if self.method is METHODS["check"] or not named or unknown:
            refusal = Refusal(
                "{name} has a guarded decision rule, which needs the uncertainty of each of its instruments "
                "under [uncertainty]; a check by eye has none.",
                name=self.name,
            )
            yield self._said(refusal, ("decision_rule",), "guarded")

    def _target(self) -> Iterator[Problem]:
        text = self.table.get("target", Source.NONE)
        if self.method is None:
            return
        if text not in tuple(Source) or text == Source.FIXED:
            yield from self._no(lambda: self._amount(text), ("target",), "amount")
        elif text != Source.NONE and self.method.quantity is not Quantity.LENGTH:
            refusal = Refusal("The target of {name} is a length, but its readings are not.", name=self.name)
            yield self._said(refusal, ("target",), "length")
        if text == Source.CONNECTOR and self.table.get("each") != Each.CONNECTOR:
            refusal = Refusal("The target of {name} needs a reading at each connector.", name=self.name)
            yield self._said(refusal, ("target",), "connector")
        if text == Source.NONE and {*self.limits} & {"plus_minus", "plus", "minus"}:
            refusal = Refusal("{name} has limits either side of a target, but no target.", name=self.name)
            yield self._said(refusal, ("target",), "target")

    def _amount(self, text: str) -> int:
        assert self.method is not None  # noqa: S101 (asked before)
        return parse_amount(self.method.quantity, text)

    def _amounts(self, table: Table, at: Path) -> tuple[dict[str, int], list[Problem]]:
        """The amounts of a table by key, and what is wrong with those that are none."""
        amounts, wrong = {}, []
        for key in ("target", "lower", "upper", "plus_minus", "plus", "minus", "rounded_to"):
            if key in table and self.method is not None:
                try:
                    amounts[key] = self._amount(table[key])
                except Refusal as refusal:
                    wrong.append(self._said(refusal, (*at, key), "amount"))
        return amounts, wrong

    def _limits(self) -> Iterator[Problem]:
        ways = ({"plus_minus"}, {"plus", "minus"}, {"lower", "upper"}, {"bands"})
        stated = [{*self.limits} & way for way in ways]
        if sum(map(bool, stated)) > 1:
            refusal = Refusal(
                "Limits are plus_minus, or plus and minus, or lower and upper, or bands; only one of these."
            )
            yield self._said(refusal, ("limits",), "one way")
        elif not any(stated):
            refusal = Refusal(
                "Every characteristic needs limits of tolerance; {name} has none.", name=self.name
            )
            yield self._said(refusal, ("limits",), "limits")
        yield from self._basis()
        amounts, wrong = self._amounts(self.limits, ("limits",))
        yield from wrong
        text = self.table.get("target", Source.NONE)
        if "lower" in amounts or "upper" in amounts:
            try:
                amounts["target"] = self._amount(text)
            except Refusal:
                amounts.pop("target", None)
        yield from self._crossed(amounts, ("limits",), ("target",))

    def _basis(self) -> Iterator[Problem]:
        basis = self.limits.get("basis", Basis.FIXED)
        yield from self._no(lambda: written.one_of(tuple(Basis), basis), ("limits", "basis"), "known")
        if (basis == Basis.PRO_RATA) != ("per" in self.limits):
            refusal = Refusal(
                "Pro rata limits, and only these, say per which length; see {name}.", name=self.name
            )
            yield self._said(refusal, ("limits", "per"), "pro rata")
        if "per" in self.limits:
            length = self.limits["per"]
            yield from self._no(lambda: parse_amount(Quantity.LENGTH, length), ("limits", "per"), "amount")
        if (basis == Basis.BANDED) != ("bands" in self.limits) or (
            basis == Basis.BANDED and (self.table.get("each") != Each.BAY or not self.limits["bands"])
        ):
            refusal = Refusal(
                "Banded limits need bands, and a reading in each bay; see {name}.", name=self.name
            )
            yield self._said(refusal, ("limits", "basis"), "bands")

    def _crossed(self, amounts: Mapping[str, int], at: Path, target_at: Path) -> Iterator[Problem]:
        lower, upper, target = (amounts.get(key) for key in ("lower", "upper", "target"))
        if lower is not None and upper is not None and lower > upper:
            refusal = Refusal("The lower limit of {name} is above its upper limit.", name=self.name)
            yield self._said(refusal, (*at, "lower"), "crossed")
        elif target is not None and (
            (lower is not None and target < lower) or (upper is not None and target > upper)
        ):
            refusal = Refusal("The target of {name} lies outside its limits.", name=self.name)
            yield self._said(refusal, target_at, "target within")

    def _bands(self) -> Iterator[Problem]:
        depths: list[int] = []
        for number, band in enumerate(self.limits.get("bands", ())):
            at: Path = ("limits", "bands", number)
            amounts, wrong = self._amounts(band, at)
            yield from wrong
            yield from self._crossed(amounts, at, (*at, "target"))
            try:
                depths.append(parse_amount(Quantity.LENGTH, band["depth_up_to"]))
            except Refusal as no_length:
                yield self._said(no_length, (*at, "depth_up_to"), "amount")
        for number, (before, depth) in enumerate(pairwise(depths), 1):
            if depth <= before:
                refusal = Refusal(
                    "Band {number} of {name} is no deeper than the one before it, so that they overlap. "
                    "Bands go from shallow to deep.",
                    number=number + 1,
                    name=self.name,
                )
                yield self._said(refusal, ("limits", "bands", number, "depth_up_to"), "overlapping")

    def _whole(self) -> Iterator[Problem]:
        """What only reading the characteristic as a whole tells."""
        for kind in self.table.get("kinds", ())[:1]:
            yield from self._no(partial(written.read_characteristic, self.table, kind), (), "readable")
