"""Setting up an empty log, and later versions of its control plan."""

import tomllib
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.shop import Person, Plant, Station
from qc_app.refusal import Refusal
from qc_app.work.schedule import add_panel
from qc_app.work.setup import (
    adopt_plan,
    cookie_key,
    default_document,
    is_set_up,
    local_zone,
    plan_in_force,
    set_up,
)
from tests.conftest import NOW, PASSWORD, Cast, panel_of, roof_panel
from tests.work.conftest import Said

ANSWERS: dict[str, Any] = {
    "plant_name": " Alder Yard ",
    "system": "metric",
    "time_zone": "Europe/Copenhagen",
    "manager_name": "Ida Moss",
    "sign_in_name": "Ida",
    "password": PASSWORD,
    "denominator": 32,
}
LATER = NOW + timedelta(days=1)


def test_an_empty_log_is_set_up_with_plant_manager_and_plan(database: Database) -> None:
    with database.write() as session:
        assert not is_set_up(session)
        set_up(session, **ANSWERS, now=NOW)
    with database.read() as session:
        assert is_set_up(session)
        plant = session.scalars(select(Plant)).one()
        assert (plant.name, plant.units.system, plant.denominator) == ("Alder Yard", "metric", 32)
        assert str(local_zone(plant)) == "Europe/Copenhagen"
        manager = session.scalars(select(Person)).one()
        assert (manager.name, manager.sign_in_name, manager.role) == ("Ida Moss", "ida", "quality_manager")
        version = session.scalars(select(ControlPlan)).one()
        assert (version.version, version.document, version.in_force_from) == (1, default_document(), NOW)
        events = session.scalars(select(Event).order_by(Event.number)).all()
        assert [event.what for event in events] == ["plant set up", "control plan adopted"]
        assert first_break(events) is None


def test_a_log_is_set_up_only_once(sqlite_database: Database, shop: Cast) -> None:
    with pytest.raises(Refusal, match="set up already"), sqlite_database.write() as session:
        set_up(session, **ANSWERS, now=NOW)
    with sqlite_database.read() as session:
        assert session.scalars(select(Plant).where(Plant.name == "Alder Yard")).all() == []


@pytest.mark.parametrize(
    ("otherwise", "said"),
    [
        ({"plant_name": " "}, "A plant needs a name"),
        ({"plant_name": "p" * 121}, "A plant needs a name"),
        ({"system": "cubits"}, "Units are imperial"),
        ({"denominator": 10}, "Units are imperial"),
        ({"time_zone": "Copenhagen"}, "“Copenhagen” is no time zone"),
        ({"time_zone": "../../etc/passwd"}, "is no time zone"),
        ({"manager_name": ""}, "A name needs"),
        ({"sign_in_name": "?"}, "A sign-in name"),
        ({"password": "short"}, "A password needs"),
    ],
)
def test_an_answer_that_cannot_be_taken_leaves_the_log_empty(
    sqlite_database: Database, otherwise: dict[str, object], said: str
) -> None:
    with pytest.raises(Refusal, match=said), sqlite_database.write() as session:
        set_up(session, **ANSWERS | otherwise, now=NOW)
    with sqlite_database.read() as session:
        assert not is_set_up(session)
        assert session.scalars(select(Event)).all() == []


def test_the_default_plan_brings_its_stations_and_characteristics(
    sqlite_database: Database, shop: Cast
) -> None:
    described = tomllib.loads(default_document())
    with sqlite_database.read() as session:
        plant_id = shop.person(session, "manager").plant_id
        stations = session.scalars(
            select(Station).where(Station.plant_id == plant_id).order_by(Station.position)
        ).all()
        assert [(s.key, s.name) for s in stations] == [
            ("framing", "Framing"),
            ("sheathing_fence", "Sheathing fence"),
            ("services", "Services"),
            ("fill", "Fill"),
            ("air_seal", "Air seal"),
            ("final", "Final"),
        ]
        assert stations[3].cautions == described["station"]["fill"]["cautions"]
        in_force = plan_in_force(session, shop.person(session, "manager").plant, NOW)
        rows = {(c.kind, c.key, c.station) for c in in_force.characteristics}
        assert rows == {
            (kind, c["key"], c["station"]) for c in described["characteristic"] for kind in c["kinds"]
        }
        density = next(c for c in in_force.characteristics if c.key == "core_density")
        assert (density.name, density.quantity) == ("Core-sample density", "density")


def test_a_second_version_holds_for_new_panels_and_not_for_those_that_have_started(
    database: Database, cast: Cast
) -> None:
    stricter = default_document().replace(
        'limits = { plus_minus = "1/16 in" }', 'limits = { plus_minus = "1/32 in" }'
    )
    stricter = stricter.replace('name = "Sheathing fence"', 'name = "Fence"')
    over = {"entries": {"length": "24' 0 1/16\""}, "at": LATER}
    with database.write() as session:
        manager = cast.person(session, "manager")
        assert Said(place="DC").record(session, cast).verdict == "within"
        second = adopt_plan(session, manager.plant, stricter, "The new fence is better.", manager, LATER)
        assert second.version == 2
        new = add_panel(session, manager, panel_of(session, cast).building, roof_panel("R-02", 5), LATER)
        assert new.control_plan_id == second.id != panel_of(session, cast).control_plan_id
        floor, cast_of_new = Said(**over), Cast(**{**vars(cast), "panel": new.id})  # type: ignore[arg-type]
        assert floor.record(session, cast, LATER).verdict == "within"
        assert Said(**over).record(session, cast_of_new, LATER).verdict == "outside"  # type: ignore[arg-type]
        events = session.scalars(select(Event).where(Event.what == "control plan adopted")).all()
        told = [event.facts for event in events if event.facts["version"] == 2]
        assert [facts["reason"] for facts in told] == ["The new fence is better."]
        names = select(Station.name).where(
            Station.plant_id == manager.plant_id, Station.key == "sheathing_fence"
        )
        assert session.scalars(names).all() == ["Fence"]
        both = session.scalars(
            select(Characteristic).where(
                Characteristic.kind == "closed_roof", Characteristic.key == "squareness"
            )
        ).all()
        assert len({c.control_plan_id for c in both}) == 3  # two versions here, and the other plant's


def test_a_version_comes_into_force_on_its_day(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        adopt_plan(session, manager.plant, default_document(), "From tomorrow.", manager, LATER)
        assert plan_in_force(session, manager.plant, LATER - timedelta(seconds=1)).version == 1
        assert plan_in_force(session, manager.plant, LATER).version == 2
        stranger = shop.person(session, "stranger")
        assert plan_in_force(session, stranger.plant, LATER).version == 1


def test_a_plan_that_cannot_be_read_is_not_adopted(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        with pytest.raises(Refusal, match="not readable TOML"):
            adopt_plan(session, manager.plant, "name = ", "Why not.", manager, LATER)
        assert plan_in_force(session, manager.plant, LATER).version == 1


def test_the_key_for_cookies_is_made_once_and_long(database: Database) -> None:
    with database.write() as session:
        first = cookie_key(session)
    with database.write() as session:
        assert cookie_key(session) == first
    assert len(first) >= 64
