"""The demo: the shop it says, the same each time, every planted fault found and few signals besides."""

import hashlib
import json
import shutil
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from string import Formatter

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

import seed_demo
from qc_app.cli import main
from qc_app.plan.place_marks import parse_place_marks
from qc_app.records.building import Building, Lot, Panel
from qc_app.records.chart import Stream
from qc_app.records.control_plan import Characteristic
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Load, Passage, Release
from qc_app.records.shop import Instrument, Person, Plant, Station
from qc_app.web.event_words import WORDS
from qc_app.work.board import board
from qc_app.work.concessions import concessions_of
from qc_app.work.fill_agreement import fill_agreements
from qc_app.work.materials import MATERIALS, lot_of_mark, uses_of_lot
from qc_app.work.people import password_hasher
from qc_app.work.readings_file import take_readings
from qc_app.work.release import by_hash
from qc_app.work.remake import successor
from qc_app.work.schedule_file import take_schedule
from qc_app.work.sheet import Taken
from qc_app.work.waiting import due_here, next_due, panels_waiting
from tests.demo import Demo, one_demo, two_demos

MIDDAY = seed_demo.local(seed_demo.working_day(seed_demo.WORKING_DAYS - 1), seed_demo.END_HOUR)
LATER = datetime(2026, 6, 1, 12, tzinfo=UTC)
FILES = ("qc.db", "planted-faults.json", "schedule.csv", "readings.xlsx")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    return one_demo(tmp_path_factory.getbasetemp())


@pytest.fixture(scope="module")
def session(demo: Demo) -> Iterator[Session]:
    """For looking at the demo."""
    database = Database(str(demo.folder / "qc.db"))
    with database.read() as session:
        yield session
    database.close()


@pytest.fixture
def copy(demo: Demo, tmp_path: Path) -> Path:
    """A copy of the demo that may be changed."""
    return Path(shutil.copytree(demo.folder, tmp_path / "copy"))


def contents(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, all columns, in the order they were written."""
    connection = sqlite3.connect(path)
    tables = [t for (t,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    rows = {t: connection.execute(f'SELECT * FROM "{t}" ORDER BY rowid').fetchall() for t in sorted(tables)}  # noqa: S608
    connection.close()
    return rows


def person(session: Session, sign_in_name: str) -> Person:
    return session.scalars(select(Person).where(Person.sign_in_name == sign_in_name)).one()


def panel(session: Session, code: str, mark: str) -> Panel:
    of_building = select(Panel).join(Building, Panel.building_id == Building.id)
    return session.scalars(of_building.where(Building.code == code, Panel.mark == mark)).one()


# The shop


def test_about_120_panels_in_three_buildings(session: Session) -> None:
    panels = select(Panel.building_id, func.count()).group_by(Panel.building_id)
    counts = [count for _, count in session.execute(panels)]
    assert len(counts) == 3
    assert 115 <= sum(counts) <= 125
    assert session.scalar(select(func.count()).select_from(Lot)) == 12


def test_the_readings_run_over_twelve_weeks_of_working_days(session: Session) -> None:
    times = [at.astimezone(seed_demo.ZONE) for at in session.scalars(select(Reading.measured_at))]
    assert timedelta(weeks=11) < max(times) - min(times) < timedelta(weeks=12)
    assert len({time.isocalendar().week for time in times}) == 12
    assert all(time.weekday() < 5 and 6 <= time.hour < 18 for time in times)


def test_everybody_printed_can_sign_in(session: Session, demo: Demo) -> None:
    people = session.scalars(select(Person)).all()
    assert seed_demo.PASSWORD in demo.printed
    assert f"PIN {seed_demo.PIN} " in demo.printed
    without = {sign_in_name for _, sign_in_name, *_ in seed_demo.OTHERS}
    for someone in people:
        (line,) = [
            line for line in demo.printed.splitlines() if f"{someone.sign_in_name:6} {someone.name}, " in line
        ]
        assert password_hasher().verify(someone.password_hash, seed_demo.PASSWORD)
        assert ("(no PIN)" in line) == (someone.sign_in_name in without) == (someone.pin_hash is None)
        assert someone.pin_hash is None or password_hasher().verify(someone.pin_hash, seed_demo.PIN)


def test_the_log_names_nobody_and_nothing_but_the_invented_shop(session: Session) -> None:
    assert set(session.scalars(select(Person.name))) == {
        name for name, *_ in (*seed_demo.PEOPLE, *seed_demo.OTHERS)
    }
    assert set(session.scalars(select(Building.name))) == {name for _, name in seed_demo.BUILDINGS}
    assert set(session.scalars(select(Plant.name))) == {"Plumb & Larch Panel Works"}
    assert set(session.scalars(select(Reading.note))) == {"", "Measured again after putting right."}


def test_the_check_finds_the_record_whole(demo: Demo, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", "--database", str(demo.folder / "qc.db")]) == 0
    assert " events in 4 chains" in capsys.readouterr().out


def test_every_event_is_told_without_a_gap(session: Session) -> None:
    for event in session.scalars(select(Event)):
        places = {name for _text, name, _format, _how in Formatter().parse(str(WORDS[event.what])) if name}
        known = {*event.facts, "check", "entered"} if "entries" in event.facts else set(event.facts)
        assert places - known == set(), event.what


def test_a_worker_finds_a_panel_with_something_due_at_every_station(session: Session) -> None:
    worker = person(session, "wren")
    stations = session.scalars(select(Station)).all()
    assert len(stations) == 6
    for station in stations:
        panels = panels_waiting(session, worker, station)
        assert panels, station.name
        assert all(next_due(due_here(session, panel, station)) for panel in panels)


def test_one_worker_reads_spanish(session: Session) -> None:
    assert {p.sign_in_name: p.language for p in session.scalars(select(Person)) if p.language} == {
        "juno": "es"
    }


def test_every_bay_filled_says_its_mass_setting_and_seconds(session: Session) -> None:
    masses = session.scalars(
        select(Reading).join(Reading.characteristic).where(Characteristic.key == "bay_fill")
    )
    entered = [reading.entries for reading in masses]
    assert len(entered) > 600
    assert all(list(entries) == ["mass", "setting", "seconds"] for entries in entered)


def test_masses_and_cores_agree_except_where_a_bay_was_filled_anew(session: Session) -> None:
    found = [a for panel in session.scalars(select(Panel)) for a in fill_agreements(session, panel)]
    assert len(found) > 50
    assert sum(not agreement.agrees for agreement in found) <= len(found) * 0.05


def test_closed_panels_have_a_few_penetrations_each_checked_twice(session: Session) -> None:
    for panel in session.scalars(select(Panel)):
        assert len(panel.penetrations) in ((1, 2, 3) if panel.kind.startswith("closed") else (0,))
    checked = (
        select(Characteristic.key, func.count()).join(Reading.characteristic).group_by(Characteristic.key)
    )
    counts = {key: count for key, count in session.execute(checked) if key.startswith("penetration_")}
    assert min(counts["penetration_place"], counts["penetration_seal"]) > 100


def test_a_failed_check_shows_its_faults_on_the_drawing(session: Session) -> None:
    failed = [r for r in session.scalars(select(Reading)) if r.entries.get("passed") == "no" and not r.place]
    assert failed
    for reading in failed:
        assert len(parse_place_marks(reading.entries["where"])) == reading.amount


# What happens in the shop besides measuring


def test_every_way_of_deciding_is_used_and_two_nonconformities_wait_for_the_lead(session: Session) -> None:
    found = session.scalars(select(Nonconformity)).all()
    closed = {one.closed_how for one in found if one.closed_at}
    assert closed == {"rework", "repair", "accept", "scrap"}
    assert {(one.panel.mark, len(one.dispositions)) for one in found if not one.closed_at} == {
        ("R-02", 0),
        ("R-03", 0),
    }


def test_what_the_shop_lead_must_decide_about_was_decided_before_it_was_measured_again(
    session: Session,
) -> None:
    decided = [
        one
        for one in session.scalars(select(Nonconformity))
        if one.characteristic in ("wood_moisture", "bay_fill", "core_density")
    ]
    assert len(decided) > 20
    for one in decided:
        assert one.closing_reading_id is not None
        assert one.dispositions[0].at < session.get_one(Reading, one.closing_reading_id).measured_at


def test_a_panel_accepted_as_it_is_names_who_agreed_and_the_crew_reads_it(session: Session) -> None:
    wall = panel(session, "H1", "W-07")
    ((accepted,),) = concessions_of(session, [wall.id]).values()
    assert accepted.decision.agreed_by == "Cleo Fenn"
    assert accepted.nonconformity.characteristic == "squareness"


def test_a_scrapped_panel_is_made_again_and_waits_at_the_first_station(session: Session) -> None:
    again = successor(session, panel(session, "H3", "W-14"))
    assert again is not None
    assert (again.mark, again.waiting_at) == ("W-14-2", "framing")


def test_the_board_says_what_is_held_and_why_and_what_the_next_truck_lacks(session: Session) -> None:
    shown = board(session, person(session, "otto"), MIDDAY)
    assert {one.state.panel.mark: (one.held.why, one.besides) for one in shown.held} == {
        "R-02": ("outside", 0),
        "R-03": ("outside", 0),
        "R-05": ("person", 0),
        "R-06": ("instrument", 0),
        "R-07": ("instrument", 0),
    }
    assert all(column.panels for column in shown.columns)
    assert shown.truck is not None
    assert [state.panel.mark for state in shown.truck.missing] == ["R-01", "R-03"]
    assert sum(state.loaded_at is not None for state in shown.truck.panels) == 2
    assert shown.charts
    assert shown.notices == 2


def test_two_loads_were_sent_and_set_with_a_remark_and_one_is_being_filled(session: Session) -> None:
    sent = session.scalars(select(Load).order_by(Load.number)).all()
    assert [(load.number, load.released_at is not None) for load in sent] == [
        (1, True),
        (2, True),
        (3, False),
    ]
    raised = session.scalars(select(Passage).where(Passage.what == "set")).all()
    assert len(raised) == sum(len(load.panels) for load in sent[:2])
    assert [p.remark for p in raised if p.remark] == ["Plate shimmed 3/32 in at corner B, as agreed."]


def test_what_was_released_can_be_looked_up_and_one_release_was_withdrawn(session: Session) -> None:
    made = session.scalars(select(Release)).all()
    assert all(
        by_hash(session, hashlib.sha256((one.snapshot or "").encode()).hexdigest()) is one for one in made
    )
    assert [one.panel.mark for one in made if one.withdrawal] == ["R-03"]


def test_lots_of_every_material_went_into_panels_each_after_it_came(session: Session) -> None:
    uses = session.scalars(select(LotUse).where(LotUse.material_lot_id.is_not(None))).all()
    lots = [session.get_one(MaterialLot, use.material_lot_id) for use in uses]
    assert {lot.material for lot in lots} == set(MATERIALS)
    assert all(lot.received_at <= use.at for lot, use in zip(lots, uses, strict=True))
    assert {(lot.material == "studs") == (lot.moisture is not None) for lot in lots} == {True}


def test_the_damp_studs_went_into_the_walls_whose_moisture_was_outside(session: Session, demo: Demo) -> None:
    lot = lot_of_mark(session, person(session, "otto"), "L-032")
    faults = json.loads((demo.folder / "planted-faults.json").read_text("utf-8"))
    (damp,) = (fault for fault in faults if "damp" in fault["what"])
    assert [f"H3 {use.panel.mark}" for use in uses_of_lot(session, lot)] == damp["marks"]


def test_every_instrument_was_checked_and_a_bent_tape_was_found_and_laid_aside(session: Session) -> None:
    made = session.scalars(select(InstrumentCheck)).all()
    assert {one.instrument_id for one in made} == set(session.scalars(select(Instrument.id)))
    (failed,) = (one for one in made if not one.passed)
    bent = session.get_one(Instrument, failed.instrument_id)
    assert bent.name == "Tape 7"
    after = session.scalars(select(Reading).where(Reading.measured_at > failed.at)).all()
    assert after
    assert not any(bent in reading.instruments for reading in after)


# The same each time


def test_building_it_again_over_an_earlier_one_gives_the_same_log(
    demo: Demo, tmp_path_factory: pytest.TempPathFactory
) -> None:
    again = two_demos(tmp_path_factory.getbasetemp())[1]
    assert contents(again.folder / "qc.db") == contents(demo.folder / "qc.db")


@pytest.mark.parametrize("name", FILES[1:])
def test_its_files_are_the_same_byte_for_byte(
    name: str, demo: Demo, tmp_path_factory: pytest.TempPathFactory
) -> None:
    again = two_demos(tmp_path_factory.getbasetemp())[1]
    assert (again.folder / name).read_bytes() == (demo.folder / name).read_bytes()


def test_nothing_but_the_log_and_its_files_is_left_in_the_folder(
    demo: Demo, tmp_path_factory: pytest.TempPathFactory
) -> None:
    for built in (demo, two_demos(tmp_path_factory.getbasetemp())[1]):
        assert {path.name for path in built.folder.iterdir()} - {"qc.db-wal", "qc.db-shm"} == set(FILES)


# The files to import


def test_the_files_import_with_one_bad_row_each_and_twice_changes_nothing(copy: Path) -> None:
    database = Database(str(copy / "qc.db"))

    def take() -> tuple[Taken, Taken]:
        with database.write() as session:
            manager = person(session, "mira")
            schedule, paper = (copy / name for name in ("schedule.csv", "readings.xlsx"))
            return (
                take_schedule(session, manager, schedule.name, schedule.read_bytes(), LATER),
                take_readings(session, manager, paper.name, paper.read_bytes(), LATER),
            )

    (panels, readings), once = take(), contents(copy / "qc.db")
    assert (panels.added, panels.unchanged, [bad.column for bad in panels.bad]) == (6, 0, ["length"])
    assert (readings.added, readings.unchanged, [bad.column for bad in readings.bad]) == (15, 0, ["mark"])
    panels, readings = take()
    assert (panels.added, panels.unchanged, len(panels.bad)) == (0, 6, 1)
    assert (readings.added, readings.unchanged, len(readings.bad)) == (0, 15, 1)
    assert contents(copy / "qc.db") == once
    database.close()


# What is planted


def test_the_planted_faults_name_real_panels_and_charts(session: Session, demo: Demo) -> None:
    real = {
        f"{code} {mark}"
        for code, mark in session.execute(
            select(Building.code, Panel.mark).join(Panel, Panel.building_id == Building.id)
        )
    }
    charts = {(s.station.key, s.characteristic, s.place) for s in session.scalars(select(Stream))}
    faults = json.loads((demo.folder / "planted-faults.json").read_text("utf-8"))
    assert len(faults) == 5
    for fault in faults:
        assert fault["marks"]
        assert set(fault["marks"]) <= real
        for characteristic in filter(None, (fault["characteristic"], fault["shown_too"])):
            assert (fault["station"], characteristic, fault["place"]) in charts
