"""What is wrong with a control plan, from its stations and kinds to each characteristic."""

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from qc_app.plan import document as written
from qc_app.plan.instrument import parse_uncertainty
from qc_app.plan.problems.of_characteristic import LONGEST, Around, CharacteristicSearch
from qc_app.plan.problems.problem import (
    Problem,
    Table,
    lacking,
    refused,
    tables,
    texts,
    too_long,
    unknown,
    unknown_keys,
)
from qc_app.refusal import Refusal
from qc_app.spc.patterns import ALL

LONGEST_STATION_NAME = 80


class PlanSearch:
    """One search through a document that is TOML. Each check is made by itself: none hides another."""

    def __init__(self, document: Table) -> None:
        self.document = document
        self.stations = tables(document.get("station"))
        self.kinds = tables(document.get("kind"))
        listed = document.get("characteristic")
        self.characteristics = listed if isinstance(listed, list) else []

    def all(self) -> Iterator[Problem]:
        yield from self._plan()
        for key, table in self.stations.items():
            yield from self._station(key, table)
        for key, table in self.kinds.items():
            yield from self._kind(key, table)
        around = Around(self.stations, self.kinds, tables(self.document.get("uncertainty")))
        for number, table in enumerate(self.characteristics):
            yield from CharacteristicSearch(around, number, table).all()
        yield from self._twice()

    def _plan(self) -> Iterator[Problem]:
        yield from unknown_keys(self.document, "control plan", (), "")
        for key in ("station", "kind", "characteristic"):
            yield from lacking(self.document, key, (), "")
        yield from lacking(self.document, "name", (), "")
        for kind, text in tables(self.document.get("uncertainty")).items():
            yield from refused(partial(parse_uncertainty, kind, text), ("uncertainty", kind), "amount")
        for rule in texts(self.document.get("rules")):
            yield from refused(partial(written.one_of, ALL, rule), ("rules",), "known")
        for language, words in tables(self.document.get("translation")).items():
            path = ("translation", language)
            yield from refused(partial(written.check_translation, language, words), path, "translation")

    def _station(self, key: str, table: Any) -> Iterator[Problem]:
        yield from unknown_keys(table, "station", ("station", key), key)
        yield from too_long(key, LONGEST["station"], ("station", key), key)
        if isinstance(table, Mapping):
            yield from lacking(table, "name", ("station", key), key)
            yield from too_long(table.get("name"), LONGEST_STATION_NAME, ("station", key, "name"), key)

    def _kind(self, key: str, table: Any) -> Iterator[Problem]:
        yield from unknown_keys(table, "kind", ("kind", key), key)
        yield from too_long(key, LONGEST["key"], ("kind", key), key)
        if isinstance(table, Mapping):
            for name in ("name", "route"):
                yield from lacking(table, name, ("kind", key), key)
            for station in texts(table.get("route")):
                if station not in self.stations:
                    yield unknown(("kind", key, "route"), "station", station, self.stations, key)

    def _twice(self) -> Iterator[Problem]:
        seen: set[tuple[str, str]] = set()
        for number, table in enumerate(self.characteristics):
            if not isinstance(table, Mapping):
                continue
            key = str(table.get("key"))
            for kind in texts(table.get("kinds")):
                if (kind, key) in seen:
                    said = Refusal("The control plan checks “{key}” twice on {kind}.", key=key, kind=kind)
                    yield Problem(
                        said, ("characteristic", number, "key"), "twice", str(table.get("name", key))
                    )
                seen.add((kind, key))
