"""Whether things that several events tell of are as those events left them, both ways."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy.orm import Session

from qc_app.records.chain import Link
from qc_app.work.check_record.compare import Sentences, plain
from qc_app.work.check_record.place import Chain, Names
from qc_app.work.check_record.thing_kinds import THINGS, UNKNOWN, Called, Key, Kind, Row
from qc_app.work.check_record.thing_tales import TALES


@dataclass
class _Told:
    """What events say of one thing: for each field the last value, and the event that says it."""

    first: Link
    fields: dict[str, tuple[Any, Link]] = field(default_factory=dict)

    def hear(self, values: dict[str, Any], link: Link) -> None:
        self.fields |= {name: (plain(value), link) for name, value in values.items()}

    def join(self, other: "_Told") -> None:
        """Takes in what events say that call the same thing otherwise; later events count."""
        for name, (value, link) in other.fields.items():
            if name not in self.fields or self.fields[name][1].number < link.number:
                self.fields[name] = (value, link)


class ThingsCheck:
    """What one building's or plant's chain says of its panels, lots, people, instruments and so on."""

    def __init__(self, session: Session, chain: Chain, names: Names) -> None:
        self._session, self._chain = session, chain
        self._sentences = Sentences(chain, names)
        self._told: dict[str, dict[Key, _Told]] = {
            word: {} for word, kind in THINGS.items() if kind.owner is chain.owner
        }

    def hear(self, link: Link) -> None:
        """Notes what an event says."""
        tale = TALES.get(link.what)
        for word, key, values in tale(link) if tale else ():
            if word in self._told:
                self._told[word].setdefault(key, _Told(link)).hear(values, link)

    def left(self) -> Iterator[str]:
        """What does not fit, once all events are heard."""
        for word, told in self._told.items():
            yield from self._compare(word, THINGS[word], told)

    def _compare(self, word: str, kind: Kind, told: dict[Key, _Told]) -> Iterator[str]:
        rows = {row.key: row for row in kind.stored(self._session, self._chain.owner_id)}
        missing = _resolve(told, rows)
        if kind.may_be_called_otherwise:
            missing = [(key, heard) for key, heard in missing if not isinstance(key, Called)]
        for key, heard in missing:
            yield self._sentences.missing(heard.first, f"{word} {_name(key, heard)}")
        for row in rows.values():
            if row.key not in told:
                yield self._sentences.untold(f"{word} {row.name}", row.panel)
                continue
            for name, (says, link) in told[row.key].fields.items():
                if says is not UNKNOWN and row.values.get(name, says) != says:
                    difference = (name, says, row.values[name])
                    yield self._sentences.differs(link, f"{word} {row.name}", difference)


def _resolve(told: dict[Key, _Told], rows: dict[Key, Row]) -> list[tuple[Key, _Told]]:
    """Puts what older events say of a thing by its name where newer ones say it; gives what has no row."""
    for key in [key for key in told if isinstance(key, Called)]:
        same = [row.key for row in rows.values() if row.is_called(key)]
        if not same:
            continue
        heard = told.pop(key)
        for number in same:
            mine = told.setdefault(number, _Told(heard.first))
            if len(same) == 1:
                mine.join(heard)
    return [(key, heard) for key, heard in told.items() if key not in rows]


def _name(key: Key, heard: _Told) -> str:
    known = next((heard.fields[name][0] for name in ("mark", "name") if name in heard.fields), None)
    return str(known or (key.name or f"number {key.number}" if isinstance(key, Called) else key))
