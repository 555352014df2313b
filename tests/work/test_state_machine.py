"""A panel that is measured, corrected, decided on, held and released at will: it does as a small model says.

Above all, whatever is done in whatever order: a panel with an open required check, an open nonconformity or a
hold is never released.
"""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, assume, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.plan.control_plan import Check
from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.nonconformity import Nonconformity
from qc_app.refusal import Refusal
from qc_app.work import nonconformity as work
from qc_app.work.hold import holds_in_force, lift_hold, place_hold
from qc_app.work.record import record
from qc_app.work.release import release, withdraw
from qc_app.work.released import released
from qc_app.work.roles import NotAllowed
from qc_app.work.state import MISSING, OUTSIDE, UNCLEAR, missing_for_release, state_of, states_of
from tests.conftest import NOW, Cast, stage
from tests.work.conftest import Said, adopt_changed
from tests.work.test_outbox_machine import copy_of

EDGE, NAILING = ("edge_length", "AB"), ("nailing_check", "")
"""The check that the station puts right by itself, and the one that the lead decides about."""

ENTRIES = {
    (EDGE, "within"): {"length": "16'"},
    (EDGE, "unclear"): {"length": "16' 0 1/16\""},
    (EDGE, "outside"): {"length": "16' 1\""},
    (NAILING, "within"): {"passed": "yes"},
    (NAILING, "outside"): {"passed": "no", "faults": "3"},
}
CHECKS = st.sampled_from(sorted(ENTRIES))
END = NOW + timedelta(days=1)
UNMEASURED = -100


@dataclass
class Measured:
    """One reading as the model knows it; ``order`` is that of coming."""

    uuid: UUID
    check: tuple[str, str]
    verdict: str
    minute: int
    order: int
    is_superseded: bool = False


@dataclass
class OpenOne:
    """An open nonconformity; of no check where a person opened it."""

    check: tuple[str, str] | None
    since: int
    decided: tuple[str, int] | None = None


@dataclass
class Model:
    """What must be true of the panel."""

    readings: list[Measured] = field(default_factory=list)
    open: list[OpenOne] = field(default_factory=list)
    closed: list[str] = field(default_factory=list)
    accepted: set[UUID] = field(default_factory=set)
    holds: int = 0
    is_released: bool = False
    is_scrapped: bool = False

    def left(self, check: tuple[str, str]) -> list[Measured]:
        of_check = [r for r in self.readings if r.check == check and not r.is_superseded]
        return sorted(of_check, key=lambda r: (r.minute, r.order))

    def stands(self, check: tuple[str, str]) -> Measured | None:
        return next(iter(self.left(check)[::-1]), None)

    def is_proven(self, check: tuple[str, str]) -> bool:
        newest = self.stands(check)
        return newest is not None and (newest.verdict == "within" or newest.uuid in self.accepted)

    @property
    def may_leave(self) -> bool:
        proven = self.is_proven(EDGE) and self.is_proven(NAILING)
        return proven and not (self.open or self.holds or self.is_scrapped)

    @property
    def waiting_at(self) -> str | None:
        all_proven = self.is_proven(EDGE) and self.is_proven(NAILING)
        return None if all_proven or self.is_scrapped else "sheathing_fence"

    @property
    def held_by(self) -> set[str]:
        if self.is_scrapped:
            return set()
        why = {OUTSIDE} if self.open else set()
        why |= {"person"} if self.holds else set()
        for check in (EDGE, NAILING):
            newest = self.stands(check)
            if newest is None:
                why.add(MISSING)  # later stations were all measured
            elif newest.verdict == "unclear" and newest.uuid not in self.accepted:
                why |= set() if any(one.check == check for one in self.open) else {UNCLEAR}
        return why

    def take(self, new: Measured) -> None:
        """Adds a reading and settles what follows from it."""
        self.readings.append(new)
        newest = self.stands(new.check)
        assert newest is not None
        open_ones = [one for one in self.open if one.check == new.check]
        for one in open_ones:
            how = self._settled(one, newest)
            if how is not None:
                self.open.remove(one)
                self.closed.append(how)
                open_ones = []
        is_wrong = newest.verdict == "outside" and newest.uuid not in self.accepted
        if is_wrong and not open_ones and not self.is_scrapped:
            self.open.append(OpenOne(new.check, newest.minute))

    def _settled(self, one: OpenOne, newest: Measured) -> str | None:
        if newest.verdict != "within":
            return None
        wrong = [r for r in self.left(newest.check) if r.verdict == "outside" and r.minute >= one.since]
        if not wrong:
            return "correction"
        if one.decided is None:
            return "rework" if newest.check == EDGE else None
        kind, minute = one.decided
        return kind if newest.check == EDGE or newest.minute >= minute else None


def said(check: tuple[str, str], verdict: str, minute: int) -> Said:
    instruments = ("tape",) if check == EDGE else ()
    at = NOW + timedelta(minutes=minute)
    return Said(*check, ENTRIES[check, verdict], at, of="floor_panel", instruments=instruments, uuid=uuid4())


def prove_the_rest(session: Session, cast: Cast) -> None:
    """Records all checks of the floor panel but the two that the machine plays with."""
    panel = session.get_one(Panel, cast.floor_panel)
    plan, subject = panel.control_plan.plan, panel.subject
    for station in plan.kind(panel.kind).route:
        for due in plan.checks(subject, station):
            if due.key not in (EDGE, NAILING):
                entries, tools = within(due, panel), due.characteristic.instruments
                at = NOW + timedelta(minutes=UNMEASURED)
                Said(*due.key, entries, at, "floor_panel", station, "worker", tools).record(session, cast)


def within(due: Check, panel: Panel) -> dict[str, str]:
    match due.characteristic.method.key:
        case "tape":
            target = due.characteristic.requirement(panel.subject, due.place).target or 0
            exactly = f"{target / 1_000_000} mm"
            return {"length": exactly}
        case "difference_of_diagonals":
            return {"ac": "214 5/8", "bd": "214 5/8"}
        case _:
            return {"passed": "yes"}


class OnePanel(RuleBasedStateMachine):
    """One panel under all that can be done with it."""

    template: Path
    cast: Cast

    def __init__(self) -> None:
        super().__init__()
        self.opened = copy_of(self.template)
        self.database: Database = self.opened.__enter__()
        self.model = Model()
        self.minute = 0

    def teardown(self) -> None:
        with self.database.read() as session:
            chain = f"building {self.cast.building}"
            events = select(Event).where(Event.chain == chain).order_by(Event.number)
            assert first_break(session.scalars(events)) is None
        self.opened.__exit__(None, None, None)

    @property
    def now(self) -> datetime:
        return NOW + timedelta(minutes=self.minute)

    def panel(self, session: Session) -> Panel:
        return session.get_one(Panel, self.cast.floor_panel)

    def open_in(self, session: Session) -> list[Nonconformity]:
        """The open ones in the order of the model's."""
        query = select(Nonconformity).where(
            Nonconformity.panel_id == self.cast.floor_panel, Nonconformity.closed_at.is_(None)
        )
        return list(session.scalars(query.order_by(Nonconformity.number)))

    @initialize(begin_proven=st.booleans())
    def begin(self, begin_proven: bool) -> None:
        if begin_proven:
            self.measure((EDGE, "within"), 0)
            self.measure((NAILING, "within"), 0)

    @rule(what=CHECKS, late=st.integers(0, 6))
    def measure(self, what: tuple[tuple[str, str], str], late: int) -> None:
        self.minute += 1
        check, verdict = what
        new = said(check, verdict, self.minute - late)
        with self.database.write() as session:
            assert new.record(session, self.cast, self.now).verdict == verdict
        measured = Measured(new.uuid, check, verdict, self.minute - late, len(self.model.readings))
        self.model.take(measured)

    @precondition(lambda self: self.model.readings)
    @rule(data=st.data())
    def correct(self, data: st.DataObject) -> None:
        self.minute += 1
        wrong = data.draw(st.sampled_from([r for r in self.model.readings if not r.is_superseded]))
        verdict = data.draw(st.sampled_from([v for c, v in sorted(ENTRIES) if c == wrong.check]))
        new = said(wrong.check, verdict, self.minute)
        with self.database.write() as session:
            corrected = replace(new.new(session, self.cast), supersedes=wrong.uuid, reason="Misread.")
            record(session, self.cast.person(session, "worker"), corrected, self.now)
        wrong.is_superseded = True
        order = len(self.model.readings)
        self.model.take(Measured(new.uuid, wrong.check, verdict, wrong.minute, order))

    @precondition(lambda self: not self.model.is_scrapped)
    @rule()
    def report(self) -> None:
        with self.database.write() as session:
            worker = self.cast.person(session, "worker")
            work.open_by_person(session, worker, self.panel(session), "Torn.", "", (), self.now)
        self.model.open.append(OpenOne(None, self.minute))

    @precondition(lambda self: self.model.open)
    @rule(data=st.data(), kind=st.sampled_from(["rework", "repair", "accept"]))
    def decide(self, data: st.DataObject, kind: str) -> None:
        self.minute += 1
        index = data.draw(st.integers(0, len(self.model.open) - 1))
        one = self.model.open[index]
        with self.database.write() as session:
            stored, manager = self.open_in(session)[index], self.cast.person(session, "manager")
            reason, version = "Looked at.", stored.version
            work.decide(session, manager, stored, kind, reason, version, self.now, "Ada Fern")
        one.decided = (kind, self.minute)
        if kind == "accept":
            self.model.open.remove(one)
            self.model.closed.append("accept")
            newest = self.model.stands(one.check) if one.check else None
            self.model.accepted |= {newest.uuid} if newest else set()

    @precondition(lambda self: self.model.open)
    @rule(data=st.data(), who=st.sampled_from(["worker", "lead", "stranger"]))
    def decide_what_one_may_not(self, data: st.DataObject, who: str) -> None:
        index = data.draw(st.integers(0, len(self.model.open) - 1))
        with self.database.write() as session:
            stored, person = self.open_in(session)[index], self.cast.person(session, who)
            with pytest.raises(Refusal if who == "stranger" else NotAllowed):
                work.decide(session, person, stored, "accept", "Mine.", stored.version, self.now, "Ada Fern")

    @precondition(lambda self: self.model.open)
    @rule(data=st.data())
    def decide_on_an_old_page(self, data: st.DataObject) -> None:
        index = data.draw(st.integers(0, len(self.model.open) - 1))
        with self.database.write() as session:
            stored, lead = self.open_in(session)[index], self.cast.person(session, "lead")
            with pytest.raises(work.DecidedMeanwhile):
                work.decide(session, lead, stored, "rework", "Plane it.", stored.version - 1, self.now)

    @precondition(lambda self: any(one.check is None and one.decided for one in self.model.open))
    @rule()
    def confirm(self) -> None:
        index, one = next((n, o) for n, o in enumerate(self.model.open) if o.check is None and o.decided)
        with self.database.write() as session:
            stored, lead = self.open_in(session)[index], self.cast.person(session, "lead")
            work.confirm(session, lead, stored, "Sound.", stored.version, self.now)
        assert one.decided is not None
        self.model.open.remove(one)
        self.model.closed.append(one.decided[0])

    @precondition(lambda self: not self.model.is_scrapped)
    @rule()
    def hold(self) -> None:
        with self.database.write() as session:
            place_hold(session, self.cast.person(session, "worker"), self.panel(session), "Dent.", self.now)
        self.model.holds += 1

    @precondition(lambda self: self.model.holds)
    @rule()
    def lift(self) -> None:
        with self.database.write() as session:
            held = holds_in_force(session, self.panel(session))[0]
            lift_hold(session, self.cast.person(session, "lead"), held, "Paint only.", self.now)
        self.model.holds -= 1

    @rule()
    def let_go(self) -> None:
        may = self.model.may_leave and not self.model.is_released
        with self.database.write() as session:
            panel, lead = self.panel(session), self.cast.person(session, "lead")
            if may:
                release(session, lead, panel, self.now)
                assert not self.open_in(session)
                assert not holds_in_force(session, panel)
            else:
                with pytest.raises(Refusal):
                    release(session, lead, panel, self.now)
        self.model.is_released |= may

    @precondition(lambda self: self.model.is_released)
    @rule()
    def take_back(self) -> None:
        with self.database.write() as session:
            let_go = released(session, self.panel(session))
            assert let_go is not None
            withdraw(session, self.cast.person(session, "lead"), let_go, "Late reading.", self.now)
        self.model.is_released = False

    @precondition(lambda self: self.model.open)
    @rule(really=st.integers(0, 5))
    def scrap(self, really: int) -> None:
        assume(really == 0)
        with self.database.write() as session:
            stored, manager = self.open_in(session)[0], self.cast.person(session, "manager")
            if self.model.is_released:
                with pytest.raises(Refusal, match="Withdraw the release first"), session.begin_nested():
                    work.decide(session, manager, stored, "scrap", "Short.", stored.version, self.now)
                return
            work.decide(session, manager, stored, "scrap", "Short.", stored.version, self.now)
        self.model.closed += ["scrap"] * len(self.model.open)
        self.model.open.clear()
        self.model.is_scrapped = True

    @invariant()
    def the_panel_is_as_the_model_says(self) -> None:
        with self.database.read() as session:
            panel = self.panel(session)
            state = state_of(session, panel, END)
            (same,) = [s for s in states_of(session, panel.building, END) if s.panel is panel]
            assert replace(state, due=()) == same
            assert panel.waiting_at == state.waiting_at == self.model.waiting_at
            assert {held.why for held in state.holds} == self.model.held_by
            assert len(self.open_in(session)) == len(self.model.open)
            assert (released(session, panel) is not None) == self.model.is_released
            query = select(Nonconformity.closed_how).where(Nonconformity.closed_at.is_not(None))
            assert sorted(str(how) for how in session.scalars(query)) == sorted(self.model.closed)
            assert (missing_for_release(session, panel, END) == []) == self.model.may_leave


def test_a_panel_and_the_model_agree(tmp_path: Path) -> None:
    template = tmp_path / "template.db"
    database = Database(str(template))
    database.migrate()
    cast = stage(database)
    edge, nailing = 'key = "edge_length"\n', 'key = "nailing_check"\n'
    with database.write() as session:
        adopt_changed(
            session,
            cast,
            (edge, f'{edge}decision_rule = "guarded_acceptance"\n'),
            (nailing, f'{nailing}put_right = "lead"\n'),
        )
        prove_the_rest(session, cast)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    database.close()
    OnePanel.template, OnePanel.cast = template, cast
    case = OnePanel.TestCase
    case.settings = settings(
        max_examples=20,
        stateful_step_count=25,
        suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
    )
    case("runTest").debug()
