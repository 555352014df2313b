"""Who may do what."""

import ast
from itertools import product
from pathlib import Path

import pytest
from sqlalchemy import select

from qc_app.records.building import Building
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.shop import Person
from qc_app.records.upload import Upload
from qc_app.refusal import Refusal
from qc_app.work import find, roles
from qc_app.work.people import add_person, change_person
from qc_app.work.pins import set_pin
from qc_app.work.roles import MAY, Act, NotAllowed, Role, may, require
from qc_app.work.sign_in import open_sign_in, who
from qc_app.work.tablets import invite
from tests.conftest import NOW, PASSWORD, Cast
from tests.work.newcomers import Newcomers, add_newcomers

SHOP = {"worker", "lead", "quality_manager"}
LEADING = {"lead", "quality_manager"}
KEEPING = {"quality_manager", "administrator"}
ALLOWED = {
    "record readings": SHOP,
    "look at panels and charts": SHOP,
    "book in lots": SHOP,
    "freeze control limits": {"quality_manager"},
    "import files": {"quality_manager"},
    "export readings": LEADING,
    "make handover packets": {*LEADING, "customer"},
    "keep people and instruments": KEEPING,
    "invite and revoke tablets": KEEPING,
    "take in the file of an outbox": LEADING,
    "close notices": LEADING,
    "release panels": LEADING,
    "edit and adopt the control plan": {"quality_manager"},
    "open nonconformities": SHOP,
    "decide how nonconformities are put right": LEADING,
    "accept panels as they are, or scrap them": {"quality_manager"},
    "put panels on hold": SHOP,
    "lift holds": LEADING,
    "sign in and out, and choose a language": {*SHOP, *KEEPING, "site_lead", "customer"},
    "scan labels": {*SHOP, "site_lead"},
    "follow the board of the shop": LEADING,
    "see what is proven of a building": {*LEADING, "customer"},
    "see what is raised next": {*LEADING, "site_lead"},
    "say that panels are set": {*LEADING, "site_lead"},
    "see instruments and their checks": {*LEADING, "administrator"},
    "plan loads, and say what is loaded": LEADING,
}


@pytest.mark.parametrize(("role", "act"), [*product(Role, Act)])
def test_a_role_may_do_what_its_work_needs(role: Role, act: Act) -> None:
    person = Person(name="Ida", role=role.value, active=True)
    assert may(person, act) == (role in ALLOWED[act])


def test_every_act_is_for_somebody() -> None:
    assert {act.value for act in MAY} == set(ALLOWED) == {act.value for act in Act}


@pytest.mark.parametrize("act", Act)
def test_somebody_inactive_may_do_nothing(act: Act) -> None:
    gone = Person(name="Ida", role="quality_manager", active=False)
    assert not may(gone, act)
    with pytest.raises(NotAllowed, match=f"Ida may not {act.value}."):
        require(gone, act)


def test_whoever_may_is_let_through() -> None:
    require(Person(name="Ida", role="worker", active=True), Act.RECORD)


def test_an_unknown_role_may_nothing_by_mistake() -> None:
    with pytest.raises(ValueError, match="owner"):
        may(Person(name="Ida", role="owner", active=True), Act.RECORD)


@pytest.fixture
def newcomers(database: Database, cast: Cast) -> Newcomers:
    return add_newcomers(database, cast)


@pytest.mark.parametrize("who", ["site_lead", "customer"])
def test_somebody_of_one_building_finds_it_and_its_panels(
    database: Database, cast: Cast, newcomers: Newcomers, who: str
) -> None:
    with database.read() as session:
        visitor = session.get_one(Person, getattr(newcomers, who))
        building = find.building(session, visitor, cast.building)
        assert find.buildings(session, visitor) == [building]
        assert find.building_by_code(session, visitor, "h1") is building
        assert find.panel(session, visitor, cast.panel).building is building


@pytest.mark.parametrize("who", ["other_site_lead", "other_customer"])
def test_somebody_of_one_building_finds_no_other_and_nothing_of_the_shop(
    database: Database, cast: Cast, newcomers: Newcomers, who: str
) -> None:
    with database.read() as session:
        visitor = session.get_one(Person, getattr(newcomers, who))
        assert [b.code for b in find.buildings(session, visitor)] == ["H2"]
        assert (find.stations(session, visitor), find.people(session, visitor)) == ([], [])
        assert find.instruments(session, visitor) == []
        for look in (
            lambda: find.building(session, visitor, cast.building),
            lambda: find.building_by_code(session, visitor, "H1"),
            lambda: find.panel(session, visitor, cast.panel),
            lambda: find.lot(session, visitor, cast.lot),
            lambda: find.station(session, visitor, "fill"),
            lambda: find.person(session, visitor, cast.worker),
        ):
            with pytest.raises(find.NotFound, match="in this plant"):
                look()


def test_a_chart_a_file_and_a_tablet_are_not_there_for_a_customer(
    database: Database, cast: Cast, newcomers: Newcomers
) -> None:
    with database.write() as session:
        manager, customer = cast.person(session, "manager"), session.get_one(Person, newcomers.customer)
        place = find.station(session, manager, "fill")
        stream = Stream(
            station_id=place.id, characteristic="core_density", place="", name="Core", quantity_name="density"
        )
        upload = Upload(
            person_id=manager.id,
            what="schedule",
            name="a.csv",
            sha256="0" * 64,
            content=b"",
            uploaded_at=NOW,
        )
        tablet, _code = invite(session, manager, "Fill 1", place, 104, NOW)
        session.add_all([stream, upload])
        session.flush()
        for look, number in ((find.stream, stream.id), (find.upload, upload.id), (find.tablet, tablet.id)):
            assert look(session, manager, number).id == number
            with pytest.raises(find.NotFound):
                look(session, customer, number)


def role_of(database: Database, person_id: int) -> tuple[str, int | None, bool]:
    with database.read() as session:
        person = session.get_one(Person, person_id)
        return person.role, person.building_id, person.active


def change(
    database: Database,
    by: int,
    person_id: int,
    role: str,
    building_id: int | None = None,
    active: bool = True,
) -> None:
    with database.write() as session:
        building = session.get_one(Building, building_id) if building_id else None
        who = session.get_one(Person, person_id)
        change_person(session, session.get_one(Person, by), who, role, building, active, NOW)


def test_a_change_of_role_is_an_event_and_ends_the_sign_ins(database: Database, cast: Cast) -> None:
    with database.write() as session:
        token = open_sign_in(session, cast.worker, NOW)
    change(database, cast.manager, cast.worker, "site_lead", cast.building)
    assert role_of(database, cast.worker) == ("site_lead", cast.building, True)
    with database.read() as session:
        assert who(session, token, NOW) is None
        event = session.scalars(select(Event).order_by(Event.id.desc()).limit(1)).one()
        named = {"name": "Wren Abbey", "sign_in_name": "wren", "building": "H1"}
        facts = {**named, "from": "worker", "to": "site_lead", "role": "site_lead"}
        assert (event.what, event.facts, event.person_id) == ("role changed", facts, cast.manager)


def test_somebody_shut_out_can_be_let_in_again(database: Database, cast: Cast) -> None:
    change(database, cast.manager, cast.worker, "worker", active=False)
    assert role_of(database, cast.worker) == ("worker", None, False)
    change(database, cast.manager, cast.worker, "worker")
    assert role_of(database, cast.worker) == ("worker", None, True)
    with database.read() as session:
        told = [e.facts for e in session.scalars(select(Event).where(Event.what == "role changed"))]
    assert [(f["from"], f["to"]) for f in told] == [("worker", "shut out"), ("shut out", "worker")]


def test_a_change_of_nothing_leaves_no_trace(database: Database, cast: Cast) -> None:
    with database.write() as session:
        token = open_sign_in(session, cast.worker, NOW)
    change(database, cast.manager, cast.worker, "worker")
    with database.read() as session:
        assert who(session, token, NOW) is not None
        assert session.scalars(select(Event).where(Event.what == "role changed")).all() == []


def test_a_building_given_to_a_role_of_the_shop_is_let_go(database: Database, newcomers: Newcomers) -> None:
    change(database, newcomers.administrator, newcomers.site_lead, "worker", newcomers.other_building)
    assert role_of(database, newcomers.site_lead) == ("worker", None, True)


@pytest.mark.parametrize("role", ["site_lead", "customer"])
def test_a_role_of_one_building_needs_one(database: Database, cast: Cast, role: str) -> None:
    with pytest.raises(Refusal, match="Choose the building") as refused:
        change(database, cast.manager, cast.worker, role)
    assert refused.value.about == "building"
    with pytest.raises(Refusal, match="Choose the building"), database.write() as session:
        add_person(session, cast.person(session, "manager"), "Ida", "ida", role, PASSWORD, NOW)


def test_the_last_quality_manager_and_the_last_administrator_stay(
    database: Database, cast: Cast, newcomers: Newcomers
) -> None:
    with pytest.raises(Refusal, match="Mira Quill is the last one here with this role"):
        change(database, newcomers.administrator, cast.manager, "worker")
    with pytest.raises(Refusal, match="Mira Quill is the last one here"):
        change(database, newcomers.administrator, cast.manager, "quality_manager", active=False)
    with pytest.raises(Refusal, match="Ada Byrd is the last one here"):
        change(database, cast.manager, newcomers.administrator, "lead")
    change(database, newcomers.administrator, cast.lead, "quality_manager")
    change(database, newcomers.administrator, cast.manager, "worker")
    assert role_of(database, cast.manager)[0] == "worker"


def test_a_quality_manager_shut_out_does_not_count_as_one(
    database: Database, cast: Cast, newcomers: Newcomers
) -> None:
    change(database, newcomers.administrator, cast.lead, "quality_manager")
    change(database, newcomers.administrator, cast.lead, "quality_manager", active=False)
    with pytest.raises(Refusal, match="the last one here"):
        change(database, newcomers.administrator, cast.manager, "worker")


def test_nobody_changes_the_own_role_or_somebody_of_another_plant(database: Database, cast: Cast) -> None:
    with pytest.raises(Refusal, match="Somebody else must change your own role"):
        change(database, cast.manager, cast.manager, "administrator")
    with pytest.raises(Refusal, match="belongs to another plant"):
        change(database, cast.manager, cast.stranger, "worker")
    with pytest.raises(NotAllowed):
        change(database, cast.lead, cast.worker, "lead")


@pytest.mark.parametrize("who", ["site_lead", "customer", "administrator"])
def test_a_pin_is_for_those_who_record(
    database: Database, cast: Cast, newcomers: Newcomers, who: str
) -> None:
    with database.write() as session:
        manager, somebody = cast.person(session, "manager"), session.get_one(Person, getattr(newcomers, who))
        with pytest.raises(Refusal, match="needs no PIN"):
            set_pin(session, manager, somebody, "4096", NOW)


WITHOUT_A_PERSON = {
    "remake": "follows from the decision to scrap, which asks",
    "lift_if_settled": "follows from a reading or a check, which ask",
    "enrol": "whoever holds the code of a tablet",
    "adopt_plan": "called by setting up, and by acts that ask first",
    "set_up": "the first page of an empty log, which has nobody yet",
}
"""Public functions that write an event and ask no role, and why."""


def acts() -> dict[str, bool]:
    """Every public function of ``work`` that writes an event, and whether it asks what the person may."""
    found = {}
    for file in Path(roles.__file__).parent.rglob("*.py"):
        for function in ast.parse(file.read_text("utf-8")).body:
            if isinstance(function, ast.FunctionDef) and not function.name.startswith("_"):
                called = {
                    node.func.id
                    for node in ast.walk(function)
                    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
                }
                if "append_event" in called:
                    found[f"{file.stem}.{function.name}"] = bool(called & {"require", "may"})
    return found


def test_every_act_that_leaves_an_event_asks_who_may() -> None:
    asking = acts()
    assert asking["people.change_person"]
    silent = {name for name, asks in asking.items() if not asks}
    assert {name for name in silent if name.partition(".")[2] not in WITHOUT_A_PERSON} == set()
