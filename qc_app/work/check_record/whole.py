"""The whole check, chain by chain, in one look at the database."""

import gc
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from sqlalchemy.orm import Session

from qc_app.records.chain import Link, links, what_differs
from qc_app.records.photo_store import PhotoStore
from qc_app.work.check_record.acts import ActsCheck
from qc_app.work.check_record.anchor import Anchor, Head
from qc_app.work.check_record.contents import (
    photos_that_differ,
    points_that_differ,
    snapshots_that_differ,
)
from qc_app.work.check_record.files import FilesCheck
from qc_app.work.check_record.links import LinksCheck
from qc_app.work.check_record.place import Chain, Names, chains_of, event_words, names_of
from qc_app.work.check_record.plans import plans_that_differ
from qc_app.work.check_record.readings import TELLING, ReadingsCheck
from qc_app.work.check_record.things import ThingsCheck

EVENTS_BETWEEN_REPORTS = 50_000

NOWHERE = Head(0, "")
UNREADABLE = (ValueError, TypeError, KeyError, AttributeError)
"""What comes of an event or a row that this program did not write."""

Progress = Callable[[str, int], None]
"""Is told the chain that is being read, and how many events have been read in all."""


@dataclass
class Result:
    """What a check read, the head of each chain, and what does not fit, a sentence each."""

    events: int = 0
    heads: dict[str, Head] = field(default_factory=dict)
    findings: list[str] = field(default_factory=list)


def check_record(session: Session, store: PhotoStore, anchor: Anchor, progress: Progress) -> Result:
    """Checks every chain, then the tables against the events, then what is named by its hash.

    ``session`` must see one moment of the database throughout (``Database.snapshot``). In each chain the
    first event that does not fit is named; those after it are still compared with the tables.
    """
    result, names, linked = Result(), names_of(session), LinksCheck(session)
    with _nothing_to_collect():
        for chain in chains_of(session):
            tables = _Tables(session, chain, names, linked)
            _check_chain(session, chain, tables, anchor, result, progress)
    result.findings += _missing_chains(anchor, result)
    result.findings += linked.left()
    result.findings += points_that_differ(session)
    result.findings += snapshots_that_differ(session)
    result.findings += photos_that_differ(session, store)
    return result


@contextmanager
def _nothing_to_collect() -> Iterator[None]:
    """Stops the search for cycles of garbage: rows make none, and looking takes a fifth of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _check_chain(
    session: Session, chain: Chain, tables: "_Tables", anchor: Anchor, result: Result, progress: Progress
) -> None:
    if chain.owner is None:
        result.findings.append(f"{chain.words}: there is no such building or plant.")
    try:
        _hear_chain(session, chain, tables, anchor.get(chain.name, NOWHERE), result, progress)
    except UNREADABLE as error:
        after = result.heads.get(chain.name, NOWHERE).number
        result.findings.append(f"{chain.words}: what follows event {after} cannot be read: {error}.")
        return
    try:
        result.findings += tables.left()
    except UNREADABLE as error:
        result.findings.append(f"{chain.words}: what the tables have of it cannot be read: {error}.")
    result.findings += _cut_off(chain, anchor, result)


def _hear_chain(
    session: Session, chain: Chain, tables: "_Tables", anchored: Head, result: Result, progress: Progress
) -> None:
    before: Link | None = None
    is_whole = True
    try:
        for link in links(session, chain.name):
            if is_whole and (why := what_differs(link, before)):
                is_whole = False
                result.findings.append(f"{event_words(chain, link)}: {why}.")
            if anchored.number == link.number and anchored.hash != link.hash:
                result.findings.append(f"{event_words(chain, link)}: the anchor holds another hash for it.")
            result.findings += tables.hear(link)
            before = link
            result.events += 1
            if result.events % EVENTS_BETWEEN_REPORTS == 0:
                progress(chain.words, result.events)
    finally:
        if before is not None:
            result.heads[chain.name] = Head(before.number, before.hash)


def _cut_off(chain: Chain, anchor: Anchor, result: Result) -> Iterator[str]:
    number, anchored = result.heads.get(chain.name, NOWHERE).number, anchor.get(chain.name)
    if anchored and anchored.number > number:
        yield f"{chain.words}: it ends at event {number}; the anchor knows of event {anchored.number}."


def _missing_chains(anchor: Anchor, result: Result) -> Iterator[str]:
    for chain in sorted(set(anchor) - set(result.heads)):
        yield f"{chain}: the anchor knows this chain; the database has no event of it."


class _Tables:
    """What the tables say that the events of one chain tell of."""

    def __init__(self, session: Session, chain: Chain, names: Names, linked: LinksCheck) -> None:
        self._session, self._chain, self._linked = session, chain, linked
        self._readings = ReadingsCheck(session, chain, names)
        self._acts = ActsCheck(session, chain, names)
        self._things = ThingsCheck(session, chain, names)
        self._files = FilesCheck(session, chain)

    def hear(self, link: Link) -> Iterable[str]:
        if link.what in TELLING:
            return self._readings.hear(link)
        self._acts.hear(link)
        self._things.hear(link)
        self._files.hear(link)
        self._linked.hear(self._chain, link)
        return ()

    def left(self) -> Iterator[str]:
        if self._chain.owner is None:
            return
        yield from self._readings.left()
        yield from self._acts.left()
        yield from self._things.left()
        yield from self._files.left()
        yield from plans_that_differ(self._session, self._chain)
