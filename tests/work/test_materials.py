"""Lots of material: received with their moisture, used in panels, and traced both ways."""

from datetime import timedelta
from uuid import UUID, uuid4

import pytest
from sqlalchemy import func, select
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.quantity import GRAINS
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.tablet import Notice
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.find import NotFound
from qc_app.work.materials import (
    MATERIALS,
    is_wet,
    lot_in,
    lot_of_mark,
    lots_of,
    moisture_limit,
    receive,
    use,
    uses_of_lot,
    uses_of_panel,
)
from qc_app.work.notices import WET_LOT
from qc_app.work.schedule import book_in_lot
from qc_app.work.setup import adopt_plan, default_document
from tests.conftest import NOW, Cast

LATER = NOW + timedelta(hours=2)
LIMIT = 18 * GRAINS
"""Of members in the default plan."""


def come(
    session: Session,
    cast: Cast,
    mark: str = "BAG-7",
    material: str = "cellulose",
    moisture: int | None = None,
    who: str = "worker",
) -> MaterialLot:
    """A lot as it arrives."""
    lot = receive(
        session, cast.person(session, who), mark, material, "Alder Fibre", moisture, "two torn", NOW
    )
    session.flush()
    return lot


def put(
    session: Session,
    cast: Cast,
    mark: str = "BAG-7",
    panel: str = "panel",
    uuid: UUID | None = None,
    who: str = "worker",
) -> LotUse:
    """The worker puts something of a lot into a panel at the fill station."""
    worker = cast.person(session, "worker")
    item = find.panel(session, worker, getattr(cast, panel))
    station = find.station(session, worker, "fill")
    used = use(session, cast.person(session, who), uuid or uuid4(), mark, item, station, NOW, LATER)
    session.flush()
    return used


def notices(session: Session) -> list[Notice]:
    return list(session.scalars(select(Notice).where(Notice.about == WET_LOT)))


def test_a_lot_is_received_with_what_is_known_of_it(database: Database, cast: Cast) -> None:
    with database.write() as session:
        come(session, cast, "ST-1", "studs", 16 * GRAINS)
    with database.read() as session:
        [lot] = lots_of(session, cast.person(session, "worker"))
        assert (lot.mark, lot.material, lot.supplier, lot.moisture) == (
            "ST-1",
            "studs",
            "Alder Fibre",
            16 * GRAINS,
        )
        assert (lot.remark, lot.received_at, lot.received_by.name) == ("two torn", NOW, "Wren Abbey")
        event = session.scalars(select(Event).where(Event.what == "material received")).one()
        assert event.chain.startswith("plant")
        assert event.facts["moisture"] == 16 * GRAINS


@pytest.mark.parametrize("material", [m for m in MATERIALS if m != "studs"])
def test_only_studs_need_their_moisture(sqlite_database: Database, shop: Cast, material: str) -> None:
    with sqlite_database.write() as session:
        assert come(session, shop, material=material).moisture is None


@pytest.mark.parametrize(
    ("mark", "material", "supplier", "about", "sentence"),
    [
        ("", "cellulose", "", "mark", "1 to 40 characters"),
        ("x" * 41, "cellulose", "", "mark", "1 to 40 characters"),
        ("lot-1", "cellulose", "", "mark", "lot marked “lot-1” already"),
        ("BAG-1", "bricks", "", "material", "no material “bricks”"),
        ("BAG-1", "studs", "", "moisture", "moisture of studs"),
        ("BAG-1", "tape", "x" * 121, "supplier", "120 characters"),
    ],
)
def test_a_lot_that_cannot_be_one_is_refused(
    sqlite_database: Database,
    shop: Cast,
    mark: str,
    material: str,
    supplier: str,
    about: str,
    sentence: str,
) -> None:
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        with pytest.raises(Refusal, match=sentence) as refused:
            receive(session, worker, mark, material, supplier, None, "", NOW)
        assert refused.value.about == about
        assert lots_of(session, worker) == []


def test_marks_are_told_apart_throughout_the_plant_whatever_the_lot_is_of(
    database: Database, cast: Cast
) -> None:
    size = (parse_length("8'"), parse_length("1 1/2"), parse_length("11 1/4"))
    with database.write() as session:
        come(session, cast)
        with pytest.raises(Refusal, match="already"):
            come(session, cast, "bag-7")
        with pytest.raises(Refusal, match="already"):
            book_in_lot(session, cast.person(session, "worker"), "precut_members", "bag-7", size, NOW)
        # Another plant has marks of its own.
        come(session, cast, "BAG-7", who="stranger")


def test_a_lot_is_found_in_its_panels_and_a_panel_in_its_lots(database: Database, cast: Cast) -> None:
    with database.write() as session:
        bag = come(session, cast)
        put(session, cast)
        put(session, cast, "bag-7", "floor_panel")
        put(session, cast, "LOT-1")
        worker = cast.person(session, "worker")
        assert [used.panel.mark for used in uses_of_lot(session, bag)] == ["R-01", "F-01"]
        members = lot_of_mark(session, worker, "lot-1")
        assert [used.panel.mark for used in uses_of_lot(session, members)] == ["R-01"]
        roof = find.panel(session, worker, cast.panel)
        assert [lot_in(used).mark for used in uses_of_panel(session, roof)] == ["BAG-7", "LOT-1"]
        first = uses_of_panel(session, roof)[0]
        assert (first.station.key, first.person.name, first.at) == ("fill", "Wren Abbey", NOW)


def test_a_use_is_on_the_record_of_the_building_and_the_panel(database: Database, cast: Cast) -> None:
    with database.write() as session:
        come(session, cast)
        used = put(session, cast)
        event = session.scalars(select(Event).where(Event.what == "lot used")).one()
        assert (event.chain, event.panel_id) == (f"building {cast.building}", cast.panel)
        assert event.facts == {
            "use": str(used.uuid),
            "lot": "BAG-7",
            "mark": "R-01",
            "station": "fill",
            "used_at": NOW.isoformat(),
        }


def test_a_use_sent_twice_is_stored_once(database: Database, cast: Cast) -> None:
    with database.write() as session:
        come(session, cast)
        come(session, cast, "BAG-8")
        number = uuid4()
        assert put(session, cast, uuid=number) is put(session, cast, uuid=number)
        assert session.scalar(select(func.count()).select_from(LotUse)) == 1
        for mark, panel in (("BAG-8", "panel"), ("BAG-7", "floor_panel")):
            with pytest.raises(Refusal, match="used before for another lot"):
                put(session, cast, mark, panel, uuid=number)


def test_a_use_is_never_changed(database: Database, cast: Cast) -> None:
    with database.write() as session:
        come(session, cast)
        put(session, cast)
    with database.write() as session:
        session.scalars(select(LotUse)).one().at = LATER
        with pytest.raises(DatabaseError, match="append-only"):
            session.flush()
        session.rollback()


def test_an_unknown_lot_is_refused_in_a_sentence(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        come(session, shop, "FAR-1", who="stranger")
        for mark in ("BAG-9", "", "FAR-1", "x" * 500):
            with pytest.raises(NotFound, match="book the lot in first"):
                put(session, shop, mark)


def test_another_plants_panel_takes_no_lot(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        come(session, shop, who="stranger")
        with pytest.raises(Refusal, match="another plant"):
            put(session, shop, who="stranger")


# Moisture on arrival


def test_the_limit_is_what_the_plan_lets_members_be(database: Database, cast: Cast) -> None:
    """18 % before enclosing: US EPA and DOE programme requirements, as the default plan says."""
    with database.read() as session:
        assert moisture_limit(session, cast.person(session, "worker"), NOW) == LIMIT


def test_without_a_check_on_members_the_panels_own_limit_counts(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        head, _, rest = default_document().partition('[[characteristic]]\nkey = "member_moisture"')
        document = head + rest[rest.index("[[characteristic]]") :]
        document = document.replace('"Moisture of member" = "Humedad de la pieza"\n', "")
        manager = shop.person(session, "manager")
        adopt_plan(session, manager.plant, document, "No check of members.", manager, NOW)
        session.flush()
        assert moisture_limit(session, manager, LATER) == LIMIT


@pytest.mark.parametrize(
    ("moisture", "material", "wet"),
    [(LIMIT, "studs", False), (LIMIT + 1, "studs", True), (LIMIT + 1, "cellulose", False)],
)
def test_studs_above_the_limit_are_wet_and_exactly_on_it_are_not(
    sqlite_database: Database, shop: Cast, moisture: int, material: str, wet: bool
) -> None:
    with sqlite_database.write() as session:
        lot = come(session, shop, "ST-1", material, moisture)
        assert is_wet(lot, LIMIT) is wet
        assert not is_wet(lot, None)


def test_using_wet_studs_is_taken_and_told(database: Database, cast: Cast) -> None:
    with database.write() as session:
        come(session, cast, "ST-1", "studs", 21_500_000)
        come(session, cast, "ST-2", "studs", 15 * GRAINS)
        put(session, cast, "ST-2")
        assert notices(session) == []
        put(session, cast, "ST-1")
        [told] = notices(session)
        assert told.panel_id == cast.panel
        facts = {key: told.facts[key] for key in ("lot", "mark", "moisture", "limit")}
        assert facts == {"lot": "ST-1", "mark": "R-01", "moisture": "21.5 %", "limit": "18.0 %"}
