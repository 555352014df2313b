"""Checks of instruments: what passes, what one that fails puts in doubt, and the ways out."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.quantity import GRAINS
from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.hold import Hold
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.reading import Reading
from qc_app.records.release import Passage, Release
from qc_app.records.shop import Instrument
from qc_app.records.tablet import Notice
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.hold import lift_hold
from qc_app.work.instrument_checks import CALIBRATION, SHIFT, check, checks_of, flag, found_wrong
from qc_app.work.instrument_trust import Trust, newest_window, readings_in, trust_of
from qc_app.work.instruments import Details, add_instrument, change_instrument
from qc_app.work.notices import (
    INSTRUMENT_DOUBTED,
    INSTRUMENT_FAILED,
    INSTRUMENT_OVERDUE,
    RELEASED_IN_DOUBT,
)
from qc_app.work.record import record
from qc_app.work.schedule import add_panel
from qc_app.work.setup import adopt_plan, default_document
from tests.conftest import NOW, Cast, roof_panel
from tests.work.conftest import Said

HOUR = timedelta(hours=1)
MORNING, NOON, EVENING = NOW, NOW + 4 * HOUR, NOW + 8 * HOUR
BAR = parse_length("8'").nanometres
INCH = 25_400_000


@dataclass
class Bench:
    """A session with the cast, and the instruments by name."""

    session: Session
    cast: Cast

    def instrument(self, name: str = "Tape 4") -> Instrument:
        query = select(Instrument).where(Instrument.name == name)
        return self.session.scalars(query).one()

    def check(
        self, off: int = 0, at: datetime = MORNING, name: str = "Tape 4", who: str = "worker"
    ) -> InstrumentCheck:
        """The tape against a bar of 8 ft, so many nanometres off."""
        person = self.cast.person(self.session, who)
        return check(self.session, person, self.instrument(name), SHIFT, BAR, BAR + off, "", at)

    def measure(self, at: datetime, name: str = "Tape 4", **said: object) -> Reading:
        """An edge of the cast's panel, on target."""
        new = replace(
            Said(at=at, **said).new(self.session, self.cast),  # type: ignore[arg-type]
            instruments=(self.instrument(name),),
        )
        return record(self.session, self.cast.person(self.session, "worker"), new, at)

    def second_tape(self) -> None:
        add_instrument(self.session, self.cast.person(self.session, "manager"), "tape", "Tape 5", None, NOW)
        self.session.flush()

    def holds(self) -> list[tuple[str, bool]]:
        """Panel mark and whether it is in force, of each hold because of an instrument."""
        found = self.session.scalars(select(Hold).where(Hold.why == "instrument").order_by(Hold.id))
        return [(hold.panel.mark, hold.lifted_at is None) for hold in found]

    def notices(self, about: str) -> list[Notice]:
        return list(self.session.scalars(select(Notice).where(Notice.about == about).order_by(Notice.id)))


# Passing and failing


@pytest.mark.parametrize(
    ("name", "reference", "read", "passed"),
    [
        # NIST Handbook 44, 5.52, table 2: up to 6 ft 1/32 in, up to 30 ft 1/16 in; exactly on it is within.
        ("Tape 4", "8'", "8' 1/16", True),
        ("Tape 4", "8'", "8' 3/32", False),
        ("Tape 4", "3'", "3' 1/32", True),
        ("Tape 4", "3'", "2' 11 15/16", False),
    ],
)
def test_a_tape_is_held_to_the_handbook(
    database: Database, cast: Cast, name: str, reference: str, read: str, passed: bool
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        amounts = (parse_length(reference).nanometres, parse_length(read).nanometres)
        made = check(
            session, cast.person(session, "worker"), bench.instrument(name), SHIFT, *amounts, "cold", NOW
        )
        assert (made.passed, made.reference, made.read) == (passed, *amounts)
        assert (made.at, made.occasion, made.remark, made.person_id) == (NOW, "shift", "cold", cast.worker)


def test_a_tape_of_a_class_is_held_to_that(sqlite_database: Database, shop: Cast) -> None:
    """Class II at 1 m: ± (0.3 + 0.2 · 1) = 0.5 mm (Directive 2014/32/EU, annex X, MI-008)."""
    with sqlite_database.write() as session:
        bench = Bench(session, shop)
        details = Details(accuracy_class="II")
        change_instrument(session, shop.person(session, "manager"), bench.instrument(), details, NOW)
        metre = 1_000_000_000
        worker = shop.person(session, "worker")
        for off, passed in ((500_000, True), (-500_000, True), (500_001, False)):
            made = check(session, worker, bench.instrument(), SHIFT, metre, metre + off, "", NOW)
            assert (made.passed, made.permitted) == (passed, 500_000)


@pytest.mark.parametrize(
    ("name", "reference", "read", "permitted"),
    [
        # Two standard uncertainties of the default plan: 0.05 g, 1 %, 0.01 in.
        ("Scale 1", 0, 100_000, 100_000),
        ("Scale 1", 500 * GRAINS, 500 * GRAINS - 100_000, 100_000),
        ("Meter 2", 16 * GRAINS, 18 * GRAINS, 2 * GRAINS),
        ("Cutter 1", None, round(2.52 * INCH), round(0.02 * INCH)),
    ],
)
def test_scales_meters_and_cutters_are_held_to_the_plans_uncertainty(
    database: Database, cast: Cast, name: str, reference: int | None, read: int, permitted: int
) -> None:
    with database.write() as session:
        instrument, worker = Bench(session, cast).instrument(name), cast.person(session, "worker")
        made = check(session, worker, instrument, SHIFT, reference, read, "", NOW)
        assert (made.passed, made.permitted) == (True, permitted)
        worse = read + (1 if read >= (made.reference or 0) else -1)
        assert not check(session, worker, instrument, SHIFT, reference, worse, "", NOW + HOUR).passed


def test_a_cutter_is_checked_against_the_bore_it_is_said_to_have(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        cutter = Bench(session, shop).instrument("Cutter 1")
        made = check(session, shop.person(session, "worker"), cutter, SHIFT, 1, cutter.bore or 0, "", NOW)
        assert made.reference == cutter.bore


def test_a_check_is_on_the_record_of_the_plant(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Bench(session, cast).check(off=INCH)
        event = session.scalars(select(Event).where(Event.what == "instrument checked")).one()
        assert event.chain.startswith("plant")
        assert (event.facts["instrument"], event.facts["passed"]) == ("Tape 4", "no")
        assert (event.facts["reference"], event.facts["read"]) == (BAR, BAR + INCH)


def test_a_check_is_never_changed(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Bench(session, cast).check()
    with database.write() as session:
        session.scalars(select(InstrumentCheck)).one().passed = False
        with pytest.raises(DatabaseError, match="append-only"):
            session.flush()
        session.rollback()


@pytest.mark.parametrize(
    ("occasion", "reference", "remark", "at", "about"),
    [
        ("birthday", BAR, "", None, "occasion"),
        (SHIFT, None, "", None, "reference"),
        (SHIFT, 0, "", None, "reference"),
        (SHIFT, -BAR, "", None, "reference"),
        (SHIFT, parse_length("120'").nanometres, "", None, "reference"),
        (CALIBRATION, BAR, "x" * 1001, None, None),
        (SHIFT, BAR, "", NOW + HOUR, None),
    ],
)
def test_a_check_that_cannot_be_one_is_refused(
    sqlite_database: Database,
    shop: Cast,
    occasion: str,
    reference: int | None,
    remark: str,
    at: datetime | None,
    about: str | None,
) -> None:
    with sqlite_database.write() as session:
        tape, worker = Bench(session, shop).instrument(), shop.person(session, "worker")
        with pytest.raises(Refusal) as refused:
            check(session, worker, tape, occasion, reference, BAR, remark, NOW, at=at)
        assert refused.value.about == about
        assert checks_of(session, tape) == []


def test_another_plants_instrument_is_not_checked(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session, pytest.raises(NotFound):
        Bench(session, shop).check(who="stranger")


# Trust


def test_the_newest_check_says_how_an_instrument_stands(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        tape, plant = bench.instrument(), cast.person(session, "worker").plant

        def stands(at: datetime) -> Trust:
            return trust_of(session, plant, [tape], at)[tape.id]

        assert stands(NOW) is Trust.GOOD
        bench.check(INCH, MORNING)
        bench.check(0, NOON)
        assert [stands(at) for at in (MORNING - HOUR, MORNING + HOUR, EVENING)] == [
            Trust.GOOD,
            Trust.FAILED,
            Trust.GOOD,
        ]


def test_checks_made_at_once_count_as_one(database: Database, cast: Cast) -> None:
    """A scale that fails empty is not saved by its check weight."""
    with database.write() as session:
        scale, worker = Bench(session, cast).instrument("Scale 1"), cast.person(session, "worker")
        check(session, worker, scale, SHIFT, 0, GRAINS, "", NOW)
        check(session, worker, scale, SHIFT, 500 * GRAINS, 500 * GRAINS, "", NOW)
        assert trust_of(session, worker.plant, [scale], NOW)[scale.id] is Trust.FAILED


def test_an_instrument_is_overdue_from_the_day_after_its_date_on_the_plants_clock(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        tape, plant = bench.instrument(), cast.person(session, "worker").plant
        tape.due_on = date(2026, 3, 1)
        # New York is five hours behind UTC in winter (IANA time zone database).
        midnight = datetime(2026, 3, 2, 5, 0, tzinfo=NOW.tzinfo)
        assert trust_of(session, plant, [tape], midnight - timedelta(seconds=1))[tape.id] is Trust.GOOD
        assert trust_of(session, plant, [tape], midnight)[tape.id] is Trust.OVERDUE


def adopt_refusing(session: Session, cast: Cast) -> None:
    """A plan that takes no length of an edge from an overdue tape, and a panel under it."""
    document = default_document().replace(
        'key = "edge_length"\n', 'key = "edge_length"\noverdue_instrument = "refuse"\n', 1
    )
    manager = cast.person(session, "manager")
    plan = adopt_plan(session, manager.plant, document, "Overdue is refused.", manager, NOW)
    session.flush()
    find.panel(session, manager, cast.panel).control_plan = plan


def test_the_plan_may_refuse_readings_of_an_overdue_or_failed_instrument(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        adopt_refusing(session, cast)
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.instrument().due_on = date(2026, 2, 28)
        with pytest.raises(Refusal, match="Tape 4 should have been calibrated by 2026-02-28"):
            bench.measure(NOON)
        bench.instrument().due_on = None
        bench.check(INCH, NOON)
        with pytest.raises(Refusal, match="Tape 4 failed its check on 2026-03-02 14:00"):
            bench.measure(NOON + HOUR)
        assert len(session.scalars(select(Reading)).all()) == 1


def test_otherwise_they_are_kept_and_the_lead_is_told_once(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.instrument().due_on = date(2026, 2, 28)
        readings = [bench.measure(at) for at in (MORNING, NOON)]
        assert {reading.verdict for reading in readings} == {"within"}
        for reading in readings:
            doubts = flag(session, [reading], NOON)
            assert [(d.instrument.name, d.why, d.since) for d in doubts] == [
                ("Tape 4", Trust.OVERDUE, "2026-02-28")
            ]
        assert len(bench.notices(INSTRUMENT_OVERDUE)) == 1
        assert bench.notices(INSTRUMENT_DOUBTED) == []
        assert bench.holds() == []


# Found wrong


def test_every_reading_since_the_last_good_check_is_in_doubt(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING - HOUR)
        bench.check(0, MORNING)
        doubtful = [bench.measure(MORNING + HOUR), bench.measure(NOON, place="DC")]
        bench.check(INCH, EVENING)
        window = newest_window(session, bench.instrument().id)
        assert window is not None
        assert (window.since, window.found_at, window.until) == (MORNING, EVENING, None)
        assert readings_in(session, bench.instrument().id, window) == doubtful


def test_their_panels_are_held_and_the_lead_is_told(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.check(INCH, NOON)
        assert bench.holds() == [("R-01", True)]
        [told] = bench.notices(INSTRUMENT_FAILED)
        assert (told.facts["instrument"], told.facts["by"], told.facts["panels"]) == (
            "Tape 4",
            "1.000 in",
            1,
        )
        bench.check(INCH, EVENING)
        assert bench.holds() == [("R-01", True)]
        assert len(bench.notices(INSTRUMENT_FAILED)) == 1


def test_a_panel_measured_only_before_the_last_good_check_is_not_held(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.check(0, NOON)
        bench.check(INCH, EVENING)
        assert bench.holds() == []


def test_a_panel_measured_again_meanwhile_with_another_tape_is_not_held(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.second_tape()
        bench.measure(MORNING)
        bench.measure(MORNING + HOUR, name="Tape 5")
        bench.check(INCH, NOON)
        assert bench.holds() == []


def test_somebody_may_find_it_wrong_without_measuring(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        worker = cast.person(session, "worker")
        made = found_wrong(session, worker, bench.instrument(), "Fell off the bench.", NOON)
        assert (made.passed, made.read, made.reference, made.permitted) == (False, None, None, None)
        assert bench.holds() == [("R-01", True)]
        assert bench.notices(INSTRUMENT_FAILED)[0].facts["by"] == "Fell off the bench."
        with pytest.raises(Refusal, match="what is wrong"):
            found_wrong(session, worker, bench.instrument(), "  ", EVENING)


def let_go(session: Session, cast: Cast, what: str | None) -> None:
    """Releases the cast's panel, and has it loaded too if asked, as rows."""
    session.add(Release(panel_id=cast.panel, person_id=cast.lead, released_at=NOON))
    if what is not None:
        session.add(Passage(panel_id=cast.panel, what=what, person_id=cast.lead, at=NOON))
    session.flush()


def test_a_released_panel_still_here_is_held_and_told_of(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        let_go(session, cast, None)
        bench.check(INCH, EVENING)
        assert bench.holds() == [("R-01", True)]
        [told] = bench.notices(RELEASED_IN_DOUBT)
        assert (told.panel_id, told.facts["mark"]) == (cast.panel, "R-01")


def test_a_panel_that_has_left_is_told_of_but_not_held(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        let_go(session, cast, "loaded")
        bench.check(INCH, EVENING)
        assert bench.holds() == []
        assert len(bench.notices(RELEASED_IN_DOUBT)) == 1


def test_a_hold_ends_once_every_check_in_doubt_is_measured_with_a_good_tape(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.second_tape()
        bench.measure(MORNING)
        bench.measure(MORNING, place="DC")
        bench.check(INCH, NOON)
        bench.measure(EVENING, name="Tape 5")
        assert bench.holds() == [("R-01", True)]
        bench.measure(EVENING, name="Tape 5", place="DC")
        assert bench.holds() == [("R-01", False)]
        [hold] = session.scalars(select(Hold).where(Hold.why == "instrument"))
        assert (hold.lifted_by_id, hold.lift_reason) == (
            cast.worker,
            "Measured again with a good instrument.",
        )
        assert session.scalars(select(Event.what).where(Event.what == "hold lifted")).all() == ["hold lifted"]


def test_measuring_again_with_the_same_wrong_tape_settles_nothing(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.check(INCH, NOON)
        bench.measure(EVENING)
        assert bench.holds() == [("R-01", True)]


def test_a_hold_may_be_lifted_with_a_reason(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.check(INCH, NOON)
        [hold] = session.scalars(select(Hold).where(Hold.why == "instrument"))
        lift_hold(session, cast.person(session, "lead"), hold, "Dropped after the last panel.", EVENING)
        assert bench.holds() == [("R-01", False)]


def test_a_reading_that_comes_late_from_the_time_in_doubt_holds_its_panel(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.check(INCH, NOON)
        new = Said(at=MORNING).new(session, cast)
        record(session, cast.person(session, "worker"), new, EVENING)
        assert bench.holds() == [("R-01", True)]


def test_a_good_check_that_comes_late_ends_what_it_settles(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.measure(MORNING)
        bench.check(INCH, EVENING)
        assert bench.holds() == [("R-01", True)]
        worker = cast.person(session, "worker")
        check(session, worker, bench.instrument(), SHIFT, BAR, BAR, "", EVENING, at=NOON)
        assert bench.holds() == [("R-01", False)]


def test_an_hour_with_a_failed_check_between_two_good_ones_stays_in_doubt(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        bench = Bench(session, cast)
        bench.check(0, MORNING)
        bench.check(INCH, NOON)
        bench.check(0, EVENING)
        window = newest_window(session, bench.instrument().id)
        assert window is not None
        assert (window.since, window.until) == (MORNING, EVENING)


def test_many_panels_are_held_each_once(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager, bench = shop.person(session, "manager"), Bench(session, shop)
        building = find.building(session, manager, shop.building)
        panels = [add_panel(session, manager, building, roof_panel(f"R-{n}", n), NOW) for n in range(10, 15)]
        for panel in panels:
            for place in ("AB", "DC"):
                new = replace(Said(at=MORNING, place=place).new(session, shop), item=panel)
                record(session, shop.person(session, "worker"), new, MORNING)
        bench.check(INCH, NOON)
        assert bench.holds() == [(panel.mark, True) for panel in panels]
        assert {h.placed_by_id for h in session.scalars(select(Hold))} == {None}
        assert session.get_one(Panel, shop.floor_panel).mark not in [mark for mark, _ in bench.holds()]
