"""What an event says and what a table holds, brought to one form, compared, and told in a sentence."""

import json
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

from qc_app.records.chain import Link
from qc_app.work.check_record.place import Chain, Names, event_words

Values = Mapping[str, Any]
"""What is said of one thing, by the words of its fields. What an event leaves out is not in it."""

PEOPLE = frozenset({"person", "person who opened it", "person who closed it", "person who released it"})
TIMES = frozenset(
    {
        "at",
        "base_ends_at",
        "begins_at",
        "in_force_from",
        "placed_at",
        "received_at",
        "used_at",
    }
)
"""Facts of events that are times, written as text."""


def plain(value: Any) -> Any:
    """A value of a table or an event in the form in which both are compared."""
    if isinstance(value, datetime):
        return value.astimezone(UTC)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | dict):
        return json.dumps(value, sort_keys=True, ensure_ascii=False)
    return repr(value) if isinstance(value, float) else value


def facts_of(link: Link) -> dict[str, Any]:
    """The facts of an event, with its panel, person and time, in the form in which they are compared."""
    told = {
        name: datetime.fromisoformat(fact) if name in TIMES and fact else fact
        for name, fact in link.facts.items()
    }
    told |= {"panel": link.panel_id, "person": link.person_id, "time": link.at}
    return {name: plain(fact) for name, fact in told.items()}


def row_of(mapping: Mapping[str, Any]) -> dict[str, Any]:
    """A row of a table in the form in which it is compared."""
    return {name: plain(value) for name, value in mapping.items()}


def differences(told: Values, stored: Values) -> Iterator[tuple[str, Any, Any]]:
    """The fields in which a row says something else, with what the event says and what the row has."""
    for field, says in told.items():
        if field in stored and stored[field] != says:
            yield field, says, stored[field]


class Sentences:
    """Writes findings about one chain."""

    def __init__(self, chain: Chain, names: Names) -> None:
        self._chain, self._names = chain, names

    def where(self, link: Link) -> str:
        """Which event, of which building or plant, about which panel."""
        return event_words(self._chain, link, self._names)

    def differs(self, link: Link, what: str, difference: tuple[str, Any, Any]) -> str:
        """That a row has another value than an event says."""
        field, says, has = difference
        words = field.replace("_", " ")
        said = f"the record says that the {words} of {what} is {self._shown(field, says)}"
        return f"{self.where(link)}: {said}; the table says {self._shown(field, has)}."

    def missing(self, link: Link, what: str) -> str:
        """That an event tells of something that the table does not have."""
        return f"{self.where(link)}: the record tells of {what}; the table has none like it."

    def untold(self, what: str, panel_id: int | None = None) -> str:
        """That the table has something of which no event tells."""
        place = self._chain.words
        if panel_id is not None:
            place = f"{place}, panel {self._names.panel(panel_id)}"
        return f"{place}: the table has {what}; no event tells of it."

    def described(self, word: str, values: Values) -> str:
        """A row or an event in words, such as ``this release (person Otto Lind, sha256 “9f2c…”)``."""
        listed = (
            f"{field.replace('_', ' ')} {self._shown(field, value)}"
            for field, value in values.items()
            if field != "panel" and value not in (None, "")
        )
        return f"this {word} ({', '.join(listed)})"

    def _shown(self, field: str, value: Any) -> str:
        if value is None:
            return "nothing"
        if field in PEOPLE:
            return self._names.person(value)
        if field == "panel":
            return self._names.panel(value)
        if isinstance(value, datetime):
            return value.isoformat(" ").replace("+00:00", " UTC")
        return f"“{value}”" if isinstance(value, str) else str(value)
