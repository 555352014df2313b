"""Three tablets that send, resend, reorder, correct and undo at will: the log is as a small model says."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hypothesis import HealthCheck, assume, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from sqlalchemy import select

from qc_app.records.chart import Point
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.reading import Reading
from qc_app.records.tablet import OutboxEntry
from qc_app.work.standing import readings_of, standing
from tests.conftest import NOW, Cast, panel_of, stage
from tests.work.sent import Outbox, enrolled, reading, readings, states

PLACES = ("AB", "DC")
SIXTEENTHS = st.integers(0, 15)
TABLETS = st.integers(0, 2)
END = NOW + timedelta(days=1)


@dataclass
class Kept:
    """One reading as the model knows it."""

    uuid: str
    place: str
    sixteenths: int
    measured_at: datetime
    supersedes: str | None


@dataclass
class Model:
    """What the server must have: answers by entry, and readings in the order they came."""

    answers: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, set[int]] = field(default_factory=dict)
    kept: dict[str, Kept] = field(default_factory=dict)

    def take(self, outbox: str, entry: dict[str, Any]) -> str:
        """The state that the server must answer."""
        if entry["uuid"] not in self.answers:
            state = self._new(entry)
            if state == "later":
                return state
            self.answers[entry["uuid"]] = state
            self.numbers.setdefault(outbox, set()).add(entry["sequence"])
        return self.answers[entry["uuid"]]

    def _new(self, entry: dict[str, Any]) -> str:
        if entry["form"] == "undone":
            return "kept"
        (sent,) = entry["content"]["readings"]
        measured_at, corrects = datetime.fromisoformat(entry["entered_at"]), sent["supersedes"]
        if corrects is not None:
            if corrects not in self.kept:
                return "later"
            if corrects in self.superseded:
                return "refused"
            measured_at = self.kept[corrects].measured_at
        sixteenths = int(sent["entries"]["length"].split()[1].split("/")[0])
        self.kept[sent["uuid"]] = Kept(sent["uuid"], sent["place"], sixteenths, measured_at, corrects)
        return "kept"

    @property
    def superseded(self) -> set[str]:
        return {kept.supersedes for kept in self.kept.values() if kept.supersedes is not None}

    def of_place(self, place: str) -> list[Kept]:
        """The readings of a place that are not superseded, in the order they were measured."""
        left = [k for k in self.kept.values() if k.place == place and k.uuid not in self.superseded]
        return sorted(left, key=lambda kept: kept.measured_at)


def length(sixteenths: int) -> str:
    return f"24' {sixteenths}/16\""


@contextmanager
def copy_of(template: Path) -> Iterator[Database]:
    """A shop of its own for each run, without setting it up anew."""
    with TemporaryDirectory() as folder:
        database = Database(shutil.copy(template, folder))
        yield database
        database.close()


class ThreeTablets(RuleBasedStateMachine):
    """Tablets that write, undo, correct, and send what they have in any order and as often as they like."""

    template: Path
    cast: Cast
    tablets: tuple[int, ...]

    def __init__(self) -> None:
        super().__init__()
        self.opened = copy_of(self.template)
        self.database = self.opened.__enter__()
        self.outboxes = [Outbox(self.cast) for _ in self.tablets]
        self.entries: list[list[dict[str, Any]]] = [[] for _ in self.tablets]
        self.sent: set[str] = set()
        self.model = Model()
        self.minute = 0

    def teardown(self) -> None:
        with self.database.read() as session:
            chain = (
                select(Event).where(Event.chain == f"building {self.cast.building}").order_by(Event.number)
            )
            assert first_break(session.scalars(chain)) is None
        self.opened.__exit__(None, None, None)

    def _write(self, tablet: int, one: dict[str, Any], reason: str = "") -> None:
        self.minute += 1
        content = readings(self.cast, one, reason=reason)
        entry = self.outboxes[tablet].entry(content, at=NOW + timedelta(minutes=self.minute))
        self.entries[tablet].append(entry)

    @initialize(sixteenths=SIXTEENTHS)
    def begin(self, sixteenths: int) -> None:
        self._write(0, reading("AB", length(sixteenths)))

    @rule(tablet=TABLETS, place=st.sampled_from(PLACES), sixteenths=SIXTEENTHS)
    def measure(self, tablet: int, place: str, sixteenths: int) -> None:
        self._write(tablet, reading(place, length(sixteenths)))

    @rule(tablet=TABLETS, sixteenths=SIXTEENTHS, data=st.data())
    def correct(self, tablet: int, sixteenths: int, data: st.DataObject) -> None:
        written = [e for entries in self.entries for e in entries if e["form"] == "readings"]
        assume(written)
        (wrong,) = data.draw(st.sampled_from(written))["content"]["readings"]
        right = reading(wrong["place"], length(sixteenths), supersedes=wrong["uuid"])
        self._write(tablet, right, "Misread.")

    @rule(tablet=TABLETS)
    def undo(self, tablet: int) -> None:
        assume(self.entries[tablet])
        last = self.entries[tablet][-1]
        # A tablet takes an entry back once, and only before it is sent.
        assume(last["uuid"] not in self.sent and last["form"] != "undone")
        undone = {"form": last["form"], "content": last["content"]}
        self.entries[tablet][-1] = last | {"form": "undone", "content": undone}

    @rule(tablet=TABLETS, data=st.data())
    def send(self, tablet: int, data: st.DataObject) -> None:
        assume(self.entries[tablet])
        batch = data.draw(st.lists(st.sampled_from(self.entries[tablet]), min_size=1, max_size=6))
        self.sent |= {entry["uuid"] for entry in batch}
        outbox = self.outboxes[tablet]
        in_order = sorted(batch, key=lambda entry: int(entry["sequence"]))
        expected = [self.model.take(str(outbox.number), entry) for entry in in_order]
        taken = outbox.send(self.database, self.tablets[tablet], *batch, now=END)
        assert states(taken) == expected
        came = self.model.numbers.get(str(outbox.number), set())
        assert list(taken.missing) == [n for n in range(1, outbox.written + 1) if n not in came][:50]

    @invariant()
    def every_entry_is_stored_once(self) -> None:
        with self.database.read() as session:
            stored = {
                str(e.uuid): "kept" if e.kept else "refused" for e in session.scalars(select(OutboxEntry))
            }
        assert stored == self.model.answers

    @invariant()
    def the_readings_and_those_that_stand_are_the_models(self) -> None:
        with self.database.read() as session:
            stored = session.scalars(select(Reading)).all()
            assert {str(r.uuid) for r in stored} == set(self.model.kept)
            assert len(stored) == len(self.model.kept)
            newest = standing(readings_of(session, panel_of(session, self.cast)))
            standing_now = {place: str(r.uuid) for (_, place), r in newest.items()}
            points = {p.reading.place: p for p in session.scalars(select(Point))}
            for place in PLACES:
                of_place = self.model.of_place(place)
                assert standing_now.get(place) == (of_place[-1].uuid if of_place else None)
                shown = points.get(place)
                assert (shown is None) == (not of_place)
                if shown is not None:
                    first = of_place[0]
                    assert (str(shown.reading.uuid), shown.measured_at) == (first.uuid, first.measured_at)
                    assert shown.deviation == first.sixteenths * 25_400_000 // 16


def test_three_tablets_and_the_model_agree(tmp_path: Path) -> None:
    template = tmp_path / "template.db"
    database = Database(str(template))
    database.migrate()
    cast = stage(database)
    tablets = tuple(enrolled(database, cast, f"Tablet {n}")[0] for n in (1, 2, 3))
    with database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    ThreeTablets.template, ThreeTablets.cast, ThreeTablets.tablets = template, cast, tablets
    run = settings(
        max_examples=25,
        stateful_step_count=25,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )
    case = ThreeTablets.TestCase
    case.settings = run
    case("runTest").debug()
