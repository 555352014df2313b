"""Buildings, panels and lots come onto the schedule."""

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.measure.length import Length, parse_length
from qc_app.plan.penetration import Penetration
from qc_app.plan.subject import Bay
from qc_app.records.building import Building, Lot, Panel
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.instruments import add_instrument
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule import NewPanel, add_building, add_panel, book_in_lot
from tests.conftest import NOW, Cast, feet, floor_panel, panel_of, roof_panel

SIZE = (parse_length("8'"), parse_length("1 1/2"), parse_length("11 1/4"))


def schedule(session: Session, cast: Cast, new: NewPanel, by: str = "manager") -> Panel:
    building = session.get_one(Building, cast.building)
    return add_panel(session, cast.person(session, by), building, new, NOW)


def test_a_panel_is_stored_as_scheduled_and_waits_at_its_first_station(
    database: Database, cast: Cast
) -> None:
    new = replace(roof_panel("R-02", 7), bays=(Bay(2, 500, 600), Bay(1, 300, 400)), connectors=(9, 5))
    with database.write() as session:
        added = schedule(session, cast, new).id
    with database.read() as session:
        panel = session.get_one(Panel, added)
        assert (panel.length, panel.width, panel.mark, panel.run) == (
            feet(24),
            feet(8),
            "R-02",
            "South slope",
        )
        assert (panel.position, panel.raising_sequence, panel.waiting_at) == (7, 7, "framing")
        assert panel.subject.bays == (Bay(1, 300, 400), Bay(2, 500, 600))
        assert panel.subject.connectors == (9, 5)
        assert panel.subject.serial == 7
        event = session.scalars(select(Event).where(Event.panel_id == added)).one()
        assert (event.what, event.facts) == (
            "panel scheduled",
            {
                "mark": "R-02",
                "kind": "closed_roof",
                "plan": 1,
                "length": feet(24),
                "width": feet(8),
                "depth": panel.depth,
                "run": "South slope",
                "position": 7,
                "raising_sequence": 7,
                "bays": [[1, 300, 400], [2, 500, 600]],
                "connectors": [[1, 9], [2, 5]],
                "penetrations": [],
            },
        )
        assert event.chain == f"building {cast.building}"


@pytest.mark.parametrize(
    ("new", "said"),
    [
        (roof_panel("R-01"), "Building H1 has a panel marked “R-01” already"),
        (roof_panel("r-01"), "Building H1 has a panel marked “r-01” already"),
        (roof_panel(" R-01 "), "has a panel marked “ R-01 ” already"),
        (roof_panel(" "), "A panel mark has 1 to 40 characters"),
        (roof_panel("R" * 41), "A panel mark has 1 to 40 characters"),
        (replace(roof_panel("R-02"), kind="shed"), "no kind of panel called “shed”"),
        (replace(roof_panel("R-02"), kind="precut_members"), "is a kind of lot, not of panel"),
        (replace(roof_panel("R-02"), length=0), "of panel R-02 must be above zero"),
        (replace(roof_panel("R-02"), width=-1), "of panel R-02 must be above zero"),
        (replace(roof_panel("R-02"), depth=0), "of panel R-02 must be above zero"),
    ],
)
def test_a_panel_that_cannot_be_is_refused(
    sqlite_database: Database, shop: Cast, new: NewPanel, said: str
) -> None:
    with pytest.raises(Refusal, match=said), sqlite_database.write() as session:
        schedule(session, shop, new)
    with sqlite_database.read() as session:
        assert session.scalar(select(func.count()).select_from(Panel)) == 2


def test_marks_may_have_any_letters(database: Database, cast: Cast) -> None:
    for mark in ("Ä-1", "Ø-7", "ß-2", "Ж-3"):
        with database.write() as session:
            added = schedule(session, cast, floor_panel(f" {mark}"))
            building = panel_of(session, cast).building
            assert added.mark == mark
            assert find.panel_by_mark(session, building, f" {mark} ") is added
        with pytest.raises(Refusal, match="already"), database.write() as session:
            schedule(session, cast, floor_panel(mark))


def test_marks_and_codes_are_found_in_capitals_or_not(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.read() as session:
        building = find.building_by_code(session, shop.person(session, "worker"), " h1 ")
        assert find.panel_by_mark(session, building, "r-01").id == shop.panel


def test_the_same_mark_may_be_used_in_another_building(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        other = add_building(session, manager, "H2", " ", NOW)
        assert other.name == "H2"
        assert add_panel(session, manager, other, roof_panel("R-01"), NOW).id != shop.panel


@pytest.mark.parametrize("code", ["h1", " H1 ", "", " ", "H" * 21])
def test_a_building_needs_a_code_of_its_own(sqlite_database: Database, shop: Cast, code: str) -> None:
    with pytest.raises(Refusal, match=r"already|1 to 20"), sqlite_database.write() as session:
        add_building(session, shop.person(session, "manager"), code, "Another", NOW)


@pytest.mark.parametrize("who", ["worker", "lead"])
def test_only_the_quality_manager_schedules(sqlite_database: Database, shop: Cast, who: str) -> None:
    with sqlite_database.write() as session:
        person = shop.person(session, who)
        with pytest.raises(NotAllowed):
            add_building(session, person, "H2", "Another", NOW)
        with pytest.raises(NotAllowed):
            schedule(session, shop, roof_panel("R-02"), who)
        with pytest.raises(NotAllowed):
            add_instrument(session, person, "tape", "Tape 5", None, NOW)


def test_everyone_books_in_lots(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        lot = book_in_lot(session, worker, "precut_members", " LOT-2 ", SIZE, NOW)
        assert (lot.mark, lot.waiting_at, lot.plant_id) == ("LOT-2", "framing", worker.plant_id)
        assert (lot.length, lot.width, lot.depth) == tuple(part.nanometres for part in SIZE)
        event = session.scalars(select(Event).order_by(Event.id.desc()).limit(1)).one()
        sizes = {"length": lot.length, "width": lot.width, "depth": lot.depth}
        booked_in = {"mark": "LOT-2", "kind": "precut_members", "plan": 1, **sizes}
        assert (event.what, event.facts) == ("lot booked in", booked_in)


@pytest.mark.parametrize(
    ("kind", "mark", "length", "said"),
    [
        ("precut_members", "lot-1", "8'", "a lot marked “lot-1” already"),
        ("precut_members", " ", "8'", "A lot mark has 1 to 40 characters"),
        ("precut_members", "L" * 41, "8'", "A lot mark has 1 to 40 characters"),
        ("precut_members", "LOT-2", "0", "must be above zero"),
        ("closed_roof", "LOT-2", "8'", "is a kind of panel, not of lot"),
        ("twigs", "LOT-2", "8'", "no kind of panel called “twigs”"),
    ],
)
def test_a_lot_that_cannot_be_is_refused(
    sqlite_database: Database, shop: Cast, kind: str, mark: str, length: str, said: str
) -> None:
    size: tuple[Length, Length, Length] = (parse_length(length), *SIZE[1:])
    with pytest.raises(Refusal, match=said), sqlite_database.write() as session:
        book_in_lot(session, shop.person(session, "worker"), kind, mark, size, NOW)
    with sqlite_database.read() as session:
        assert session.scalar(select(func.count()).select_from(Lot)) == 1


@pytest.mark.parametrize(
    ("kind", "name", "bore", "said"),
    [
        ("tape", "Tape 4", None, "“Tape 4” already"),
        ("tape", " ", None, "1 to 80 characters"),
        ("tape", "T" * 81, None, "1 to 80 characters"),
        ("ruler", "Ruler", None, "no kind of instrument “ruler”"),
        ("core_cutter", "Cutter 2", None, "needs its inside diameter"),
        ("tape", "Tape 5", Length.from_inches(2), "nothing else has one"),
    ],
)
def test_an_instrument_that_cannot_be_is_refused(
    sqlite_database: Database, shop: Cast, kind: str, name: str, bore: Length | None, said: str
) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        with pytest.raises(Refusal, match=said):
            add_instrument(session, manager, kind, name, bore, NOW)
        assert len(find.instruments(session, manager)) == 4


def test_another_plants_things_are_not_found(database: Database, cast: Cast) -> None:
    with database.write() as session:
        stranger = cast.person(session, "stranger")
        building = session.get_one(Building, cast.building)
        assert find.building(session, cast.person(session, "lead"), cast.building) is building
        with pytest.raises(NotFound, match="no such building"):
            find.building(session, stranger, cast.building)
        with pytest.raises(NotFound, match="no building “H1”"):
            find.building_by_code(session, stranger, "H1")
        with pytest.raises(NotFound, match="no such panel"):
            find.panel(session, stranger, cast.panel)
        with pytest.raises(NotFound, match="no such lot"):
            find.lot(session, stranger, cast.lot)
        assert find.buildings(session, stranger) == []
        assert find.instruments(session, stranger) == []
        assert [person.name for person in find.people(session, stranger)] == ["Sten Far"]
        theirs, ours = (
            {s.id for s in find.stations(session, cast.person(session, who))}
            for who in ("stranger", "worker")
        )
        assert len(theirs) == len(ours) == 6
        assert not theirs & ours


def test_a_number_that_nothing_has_finds_nothing(database: Database, cast: Cast) -> None:
    with database.read() as session:
        worker = cast.person(session, "worker")
        for number in (0, 999_999, 2**63 - 1, 2**63, 10**30):
            for look_up in (find.building, find.panel, find.lot, find.stream, find.upload):
                with pytest.raises(NotFound):
                    look_up(session, worker, number)


def test_people_and_buildings_are_listed_in_order(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        add_building(session, manager, "A9", "Newest", NOW + timedelta(days=1))
        assert [b.code for b in find.buildings(session, manager)] == ["A9", "H1"]
        assert [p.name for p in find.people(session, manager)] == ["Mira Quill", "Otto Lind", "Wren Abbey"]
        tapes = find.instruments(session, manager, ("tape", "core_cutter"))
        assert [i.name for i in tapes] == ["Cutter 1", "Tape 4"]


PIPE = Penetration("P1", "outer", "4 in", "pipe sleeve", feet(6), feet(3))
CABLE = Penetration("E1", "edge", "1 in")


def test_penetrations_are_stored_in_the_order_of_the_schedule(database: Database, cast: Cast) -> None:
    with database.write() as session:
        added = schedule(session, cast, replace(roof_panel("R-02", 7), penetrations=(PIPE, CABLE))).id
    with database.read() as session:
        assert session.get_one(Panel, added).subject.penetrations == (PIPE, CABLE)


@pytest.mark.parametrize(
    ("penetrations", "said"),
    [
        ((replace(PIPE, mark=" "),), "mark of a penetration"),
        ((replace(PIPE, face="roof"),), "face of penetration P1"),
        ((replace(PIPE, across=feet(8) + 1),), "not on the panel"),
        ((PIPE, replace(CABLE, mark="p1")), "two penetrations marked"),
    ],
)
def test_a_panel_with_a_penetration_it_cannot_have_is_refused(
    sqlite_database: Database, shop: Cast, penetrations: tuple[Penetration, ...], said: str
) -> None:
    with sqlite_database.write() as session, pytest.raises(Refusal, match=said):
        schedule(session, shop, replace(roof_panel("R-02", 7), penetrations=penetrations))
