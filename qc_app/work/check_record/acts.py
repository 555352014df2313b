"""Whether acts stored in tables of their own and the events that tell of them say the same, both ways."""

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.chain import Link
from qc_app.records.hold import Hold
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.release import Passage, Release, ReleaseWithdrawal
from qc_app.work.check_record.place import Chain, Names, event_words, moment

Query = Select[*tuple[Any, ...]]

Content = tuple[Any, ...]
"""Panel, person, time, and what else both the table and the event say."""


@dataclass(frozen=True)
class Kind:
    """One kind of act: its word, and the facts of its events in the order of the columns of ``stored``.

    ``stored`` takes a building's number and selects panel, person, time, and a column for each fact.
    """

    word: str
    facts: tuple[str, ...]
    stored: Callable[[int], Query]

    def told(self, link: Link) -> Content:
        """What an event says of such an act; a fact that older events leave out is None."""
        return link.panel_id, link.person_id, link.at, *(link.facts.get(fact) for fact in self.facts)


def _releases(building_id: int) -> Query:
    of = select(Release.panel_id, Release.person_id, Release.released_at, Release.sha256)
    return of.join(Panel, Release.panel_id == Panel.id).where(Panel.building_id == building_id)


def _withdrawals(building_id: int) -> Query:
    of = select(
        Release.panel_id,
        ReleaseWithdrawal.person_id,
        ReleaseWithdrawal.at,
        Release.sha256,
        ReleaseWithdrawal.reason,
    )
    of = of.join(Release, ReleaseWithdrawal.release_id == Release.id)
    return of.join(Panel, Release.panel_id == Panel.id).where(Panel.building_id == building_id)


def _passages(what: str) -> Callable[[int], Query]:
    def stored(building_id: int) -> Query:
        of = select(Passage.panel_id, Passage.person_id, Passage.at, Passage.remark)
        of = of.join(Panel, Passage.panel_id == Panel.id)
        return of.where(Panel.building_id == building_id, Passage.what == what)

    return stored


def _dispositions(building_id: int) -> Query:
    of = select(
        Nonconformity.panel_id,
        Disposition.person_id,
        Disposition.at,
        Nonconformity.number,
        Disposition.kind,
        Disposition.reason,
        Disposition.agreed_by,
    )
    of = of.join(Nonconformity, Disposition.nonconformity_id == Nonconformity.id)
    return of.where(Nonconformity.building_id == building_id)


def _holds_placed(building_id: int) -> Query:
    of = select(Hold.panel_id, Hold.placed_by_id, Hold.placed_at, Hold.why, Hold.reason)
    return of.join(Panel, Hold.panel_id == Panel.id).where(Panel.building_id == building_id)


def _holds_lifted(building_id: int) -> Query:
    of = select(Hold.panel_id, Hold.lifted_by_id, Hold.lifted_at, Hold.lift_reason)
    of = of.join(Panel, Hold.panel_id == Panel.id)
    return of.where(Panel.building_id == building_id, Hold.lifted_at.is_not(None))


KINDS: Mapping[str, Kind] = {
    "panel released": Kind("release", ("sha256",), _releases),
    "release withdrawn": Kind("withdrawal of a release", ("sha256", "reason"), _withdrawals),
    "panel loaded": Kind("loading", ("remark",), _passages("loaded")),
    "panel set": Kind("setting", ("remark",), _passages("set")),
    "nonconformity decided": Kind(
        "disposition", ("number", "decision", "reason", "agreed by"), _dispositions
    ),
    "panel put on hold": Kind("hold", ("why", "reason"), _holds_placed),
    "hold lifted": Kind("lifting of a hold", ("reason",), _holds_lifted),
}
"""The kinds of act, by what their events are called."""


class ActsCheck:
    """The acts of one building's chain. Each event about one is ``hear``d; then ``left`` has no event."""

    def __init__(self, session: Session, chain: Chain, names: Names) -> None:
        self._chain, self._names = chain, names
        self._stored = {
            what: Counter(tuple(row) for row in session.execute(kind.stored(chain.owner_id)))
            for what, kind in KINDS.items()
            if chain.owner is Building
        }

    def hear(self, link: Link) -> Iterator[str]:
        """What does not fit between an event about an act and the table."""
        kind, stored = KINDS[link.what], self._stored.get(link.what, Counter())
        told = kind.told(link)
        if stored[told] > 0:
            stored[told] -= 1
            return
        where = event_words(self._chain, link)
        yield f"{where}: the table has no such {kind.word}, or it says something else."

    def left(self) -> Iterator[str]:
        """What is in the tables without an event that tells of it."""
        for what, stored in self._stored.items():
            for (panel_id, person_id, at, *_), count in stored.items():
                if count > 0:
                    panel, person = self._names.panel(panel_id), self._names.person(person_id)
                    act = f"{KINDS[what].word} of {panel} by {person}, {moment(at)}"
                    yield f"{self._chain.words}: no event tells of this {act}."
