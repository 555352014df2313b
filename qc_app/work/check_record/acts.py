"""Whether acts stored in a row each and the events that tell of them say the same, both ways."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from itertools import islice
from typing import Any

from sqlalchemy.orm import Session

from qc_app.records.chain import Link
from qc_app.work.check_record.act_kinds import KINDS, Kind
from qc_app.work.check_record.compare import Sentences, Values, differences, facts_of, row_of
from qc_app.work.check_record.place import Chain, Names

MOST_LOOKED_AT = 200
"""How many rows are looked at for the one that an event may have told of before it was changed."""


class ActsCheck:
    """The acts of one building's or plant's chain."""

    def __init__(self, session: Session, chain: Chain, names: Names) -> None:
        sentences = Sentences(chain, names)
        self._ledgers = {
            what: Ledger(session, chain, kind, sentences)
            for what, kind in KINDS.items()
            if kind.owner is chain.owner
        }

    def hear(self, link: Link) -> None:
        """Notes an event about an act."""
        if link.what in self._ledgers:
            self._ledgers[link.what].hear(link)

    def left(self) -> Iterator[str]:
        """What does not fit, once all events are heard."""
        for ledger in self._ledgers.values():
            yield from ledger.left()


class Ledger:
    """The rows of one kind of act. Each event takes the first row that says the same."""

    def __init__(self, session: Session, chain: Chain, kind: Kind, sentences: Sentences) -> None:
        query = kind.stored(chain.owner_id)
        self._kind, self._sentences = kind, sentences
        self._fields = tuple(query.selected_columns.keys())
        self._rows = [row_of(dict(row)) for row in session.execute(query).mappings()]
        self._taken: set[int] = set()
        self._by_content: dict[tuple[str, ...], dict[tuple[Any, ...], list[int]]] = {}
        self._alone: list[tuple[Link, Values]] = []

    def hear(self, link: Link) -> None:
        """Takes the row that says what the event says; an older event may say less than the row."""
        facts = facts_of(link)
        told = {field: facts[field] for field in self._fields if field in facts}
        same = self._content(tuple(told)).get(tuple(told.values()), [])
        while same and same[-1] in self._taken:
            same.pop()
        if same:
            self._taken.add(same.pop())
        else:
            self._alone.append((link, told))

    def _content(self, fields: tuple[str, ...]) -> dict[tuple[Any, ...], list[int]]:
        """The numbers of the rows by what they say in some fields, the first row last."""
        if fields not in self._by_content:
            content: dict[tuple[Any, ...], list[int]] = defaultdict(list)
            for number in reversed(range(len(self._rows))):
                content[tuple(self._rows[number][field] for field in fields)].append(number)
            self._by_content[fields] = content
        return self._by_content[fields]

    def left(self) -> Iterator[str]:
        """Rows that say something else than their event, events without a row, rows without an event."""
        by_panel: dict[int | None, dict[int, Values]] = defaultdict(dict)
        for number, row in enumerate(self._rows):
            if number not in self._taken:
                by_panel[row.get("panel")][number] = row
        for link, told in self._alone:
            of_panel = by_panel[told.get("panel")]
            nearest = _most_alike(told, of_panel)
            if nearest is None:
                yield self._sentences.missing(link, self._sentences.described(self._kind.word, told))
                continue
            for difference in differences(told, of_panel.pop(nearest)):
                yield self._sentences.differs(link, f"this {self._kind.word}", difference)
        for panel_id, rows in by_panel.items():
            for untold in rows.values():
                yield self._sentences.untold(self._sentences.described(self._kind.word, untold), panel_id)


def _most_alike(told: Values, rows: Mapping[int, Values]) -> int | None:
    """The number of the row that says most of what an event says; None if none says half of it."""
    apart = {
        number: sum(1 for _ in differences(told, row)) for number, row in islice(rows.items(), MOST_LOOKED_AT)
    }
    nearest = min(apart, key=lambda number: apart[number], default=None)
    return nearest if nearest is not None and apart[nearest] <= len(told) / 2 else None
