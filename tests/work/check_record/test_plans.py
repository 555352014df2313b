"""Versions of the control plan, their characteristics and stations, changed by hand."""

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from qc_app.records.control_plan import Characteristic, ControlPlan
from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.shop import Plant, Station
from tests.conftest import NOW, Cast, stage
from tests.work.check_record.tampering import findings, tamper


def test_a_plan_changed_after_it_was_adopted_is_named(database: Database, cast: Cast) -> None:
    def loosen(session: Session) -> None:
        plan = session.scalars(select(ControlPlan).order_by(ControlPlan.id)).first()
        assert plan is not None
        session.execute(
            update(ControlPlan).where(ControlPlan.id == plan.id).values(document=plan.document + "\n")
        )

    found = tamper(database, loosen)
    assert len(found) == 1
    assert found[0].startswith("plant Plumb & Larch Panel Works, event ")
    assert "the record says that the sha256 of control plan, version 1 is “" in found[0]


def test_a_limit_loosened_in_a_plan_nobody_can_read_any_more_is_named(database: Database, cast: Cast) -> None:
    found = tamper(database, lambda s: s.execute(update(ControlPlan).values(document="name = ")))
    assert any("the sha256 of control plan, version 1" in f for f in found)
    assert any("a version of the control plan cannot be read" in f for f in found)


def test_a_characteristic_named_otherwise_is_named(database: Database, cast: Cast) -> None:
    change = update(Characteristic).where(
        Characteristic.key == "edge_length", Characteristic.kind == "closed_roof"
    )
    found = tamper(database, lambda s: s.execute(change.values(quantity="mass")))
    assert found[0] == (
        "plant Plumb & Larch Panel Works: version 1 of the control plan says of edge_length on closed_roof: "
        "“Length of edge”, at station sheathing_fence, quantity length; the table says: “Length of edge”, at "
        "station sheathing_fence, quantity mass."
    )


def test_a_caution_left_out_at_a_station_is_named(database: Database, cast: Cast) -> None:
    change = update(Station).where(Station.key == "fill").values(cautions=[])
    found = tamper(database, lambda s: s.execute(change))
    assert found[0].startswith("plant Plumb & Larch Panel Works: the newest version of the control plan ")
    assert "says that station fill is " in found[0]


def test_a_plan_adopted_before_hashes_were_kept_passes(sqlite_database: Database) -> None:
    stage(sqlite_database)
    with sqlite_database.write() as session:
        plant = session.scalars(select(Plant).order_by(Plant.id)).first()
        old = session.scalars(select(ControlPlan).order_by(ControlPlan.id)).first()
        assert plant is not None
        assert old is not None
        new = ControlPlan(
            plant_id=plant.id, version=2, document=old.document, reason="Older.", in_force_from=NOW
        )
        new.characteristics = [
            Characteristic(kind=c.kind, station=c.station, key=c.key, name=c.name, quantity=c.quantity)
            for c in old.characteristics
        ]
        session.add(new)
        facts = {"version": 2, "reason": "Older."}
        append_event(session, plant, "control plan adopted", facts, at=NOW, person=None)
    assert findings(sqlite_database) == []


def test_a_plan_put_in_by_hand_is_named(sqlite_database: Database) -> None:
    stage(sqlite_database)

    def put_in(session: Session) -> None:
        old = session.scalars(select(ControlPlan).order_by(ControlPlan.id)).first()
        assert old is not None
        session.add(
            ControlPlan(plant_id=old.plant_id, version=7, document=old.document, reason="", in_force_from=NOW)
        )

    assert tamper(sqlite_database, put_in)[0] == (
        "plant Plumb & Larch Panel Works: the table has control plan, version 7; no event tells of it."
    )
