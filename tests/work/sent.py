"""Batches and entries as the script of a tablet makes them."""

import json
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from qc_app.records.database import Database
from qc_app.records.tablet import Tablet
from qc_app.work import find, tablets
from qc_app.work.outbox import Taken, read_batch, take
from qc_app.work.pins import note_sign_in
from tests.conftest import NOW, Cast

TAPE = 1
PLAN = 1


def enrolled(
    database: Database, cast: Cast, name: str = "Tablet 2", who: tuple[str, ...] = ("worker",)
) -> tuple[int, str]:
    """A tablet in the fence on which some have signed in, and its credential."""
    with database.write() as session:
        manager = cast.person(session, "manager")
        station = find.station(session, manager, "sheathing_fence")
        _, code = tablets.invite(session, manager, name, station, 104, NOW)
        tablet, credential = tablets.enrol(session, code, NOW)
        for somebody in who:
            note_sign_in(session, tablet.id, getattr(cast, somebody), NOW)
        session.flush()
        return tablet.id, credential


def reading(place: str = "AB", length: str = "24'", **otherwise: Any) -> dict[str, Any]:
    """One reading of an edge in an entry."""
    usual: dict[str, Any] = {
        "uuid": str(uuid4()),
        "characteristic": "edge_length",
        "place": place,
        "entries": {"length": length},
        "supersedes": None,
        "photos": [],
        "verdict": None,
    }
    return usual | otherwise


def readings(cast: Cast, *some: dict[str, Any], **otherwise: Any) -> dict[str, Any]:
    """The content of an entry with readings in the fence."""
    usual = {
        "station": "sheathing_fence",
        "item": "panel",
        "id": cast.panel,
        "plan": PLAN,
        "readings": list(some) or [reading()],
        "instruments": [TAPE],
        "note": "",
        "reason": "",
    }
    return usual | otherwise


@dataclass
class Outbox:
    """The memory of one tablet: it numbers what is written, and makes batches of it."""

    cast: Cast
    number: UUID = field(default_factory=uuid4)
    written: int = 0

    def entry(
        self,
        content: dict[str, Any] | None = None,
        form: str = "readings",
        at: datetime = NOW,
        **otherwise: Any,
    ) -> dict[str, Any]:
        """A new entry, by the worker where not said otherwise."""
        self.written += 1
        usual = {
            "uuid": str(uuid4()),
            "sequence": self.written,
            "person": self.cast.worker,
            "entered_at": at.isoformat(),
            "form": form,
            "content": readings(self.cast) if content is None else content,
        }
        return usual | otherwise

    def batch(self, *entries: dict[str, Any], clock: datetime = NOW, **otherwise: Any) -> dict[str, Any]:
        """A batch of entries."""
        usual = {
            "outbox": str(self.number),
            "schema": 1,
            "written": self.written,
            "clock": clock.isoformat(),
            "entries": list(entries),
        }
        return usual | otherwise

    def send(
        self,
        database: Database,
        tablet: int,
        *entries: dict[str, Any],
        now: datetime = NOW,
        clock: datetime | None = None,
        **otherwise: Any,
    ) -> Taken:
        """Sends entries from a tablet."""
        body = json.dumps(self.batch(*entries, clock=clock or now, **otherwise)).encode()
        with database.read() as session:
            return take(database, session.get_one(Tablet, tablet), read_batch(body), now)


def states(taken: Taken) -> list[str]:
    """What became of each entry, oldest first."""
    return [answer.state.value for answer in taken.answers]


def reasons(taken: Taken) -> str:
    """All reasons given, in English."""
    said = [reason.sentence for answer in taken.answers for reason in answer.reasons]
    return " ".join(sentence.words.format(**sentence.facts) for sentence in said)


def remarks(taken: Taken) -> str:
    """All remarks made, in English."""
    said = [sentence for answer in taken.answers for sentence in answer.remarks]
    return " ".join(sentence.words.format(**sentence.facts) for sentence in said)
