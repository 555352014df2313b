"""A shop in which everything has happened once, so that every table of the record holds something."""

from datetime import date, timedelta
from hashlib import sha256
from pathlib import Path
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.penetration import Penetration
from qc_app.records.building import Building, Panel
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.photo_store import PhotoStore
from qc_app.records.shop import Instrument
from qc_app.records.tablet import Notice, Tablet
from qc_app.work import find, instrument_checks, loads, tablets, uploads
from qc_app.work.hand_over import take_packet
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.instruments import Details, add_instrument, change_instrument, retire_instrument
from qc_app.work.materials import receive, use
from qc_app.work.nonconformity import decide, explain, link, open_by_person
from qc_app.work.notices import close_notice
from qc_app.work.people import add_person, change_person
from qc_app.work.photos import keep_photo
from qc_app.work.record import record
from qc_app.work.release import passage, release, withdraw
from qc_app.work.roles import Role
from qc_app.work.schedule import NewPanel, add_building, add_panel, book_in_lot
from qc_app.work.setup import adopt_plan, default_document, set_up
from qc_app.work.streams import freeze_limits
from tests.conftest import NOW, PASSWORD, Cast, feet, floor_panel, roof_panel
from tests.work.check_record.conftest import correct
from tests.work.conftest import Said, member
from tests.work.proven import prove
from tests.work.test_photos import jpeg

LATER = NOW + timedelta(hours=2)
MENDED = NOW + timedelta(hours=3)
DAY_AFTER = NOW + timedelta(days=1)


def whole_shop(database: Database, photos: Path) -> None:
    """Has everything happen that an event tells of."""
    with database.write() as session:
        cast = _people_and_panels(session)
        _tablets(session, cast)
    names = _photos(database, PhotoStore(photos), cast)
    with database.write() as session:
        _measure(session, cast, names)
        _materials(session, cast)
    with database.write() as session:
        _nonconformities(session, cast, names)
        _instruments(session, cast)
        _limits(session, cast)
    with database.write() as session:
        _leave(session, cast)
        _plans(session, cast)
    take_packet(database, cast.manager, cast.building, DAY_AFTER, "https://log.invalid/")
    content = b"building,mark,kind,length,width,depth,run,position,raising_sequence\n"
    content += b"H1,X-1,open_floor,16',8',11 7/8,Deck,9,9\n"
    upload = uploads.keep_upload(database, cast.manager, "schedule", "schedule.csv", content, NOW)
    uploads.take(database, cast.manager, upload, DAY_AFTER)


def _people_and_panels(session: Session) -> Cast:
    manager = set_up(
        session,
        plant_name="Plumb & Larch Panel Works",
        system="imperial",
        time_zone="America/New_York",
        manager_name="Mira Quill",
        sign_in_name="mira",
        password=PASSWORD,
        now=NOW,
    )
    lead = add_person(session, manager, "Otto Lind", "otto", Role.LEAD, PASSWORD, NOW)
    worker = add_person(session, manager, "Wren Abbey", "wren", Role.WORKER, PASSWORD, NOW)
    for kind, name in (("tape", "Tape 4"), ("tape", "Tape 5"), ("scale", "Scale 1"), ("moisture_meter", "M")):
        add_instrument(session, manager, kind, name, None, NOW)
    add_instrument(session, manager, "core_cutter", "Cutter 1", parse_length("2 1/2"), NOW)
    house = add_building(session, manager, "H1", "Fern Hollow House", NOW)
    customer = add_person(session, manager, "Ada Fern", "ada", Role.CUSTOMER, PASSWORD, NOW, house)
    change_person(session, manager, customer, Role.CUSTOMER, house, False, NOW)
    roof = add_panel(session, manager, house, _roof(), NOW)
    floor = add_panel(session, manager, house, floor_panel("F-01"), NOW)
    size = (parse_length("8'"), parse_length("1 1/2"), parse_length("11 1/4"))
    lot = book_in_lot(session, manager, "precut_members", "LOT-1", size, NOW)
    return Cast(manager.id, lead.id, worker.id, manager.id, house.id, roof.id, floor.id, lot.id)


def _roof() -> NewPanel:
    plain = roof_panel("R-01")
    vent = Penetration("P1", "outer", "110 mm", "125 mm sleeve", feet(2), feet(3))
    return NewPanel(**{**vars(plain), "penetrations": (vent,)})


def _tablets(session: Session, cast: Cast) -> None:
    manager = cast.person(session, "manager")
    station = find.station(session, manager, "sheathing_fence")
    tablet, code = tablets.invite(session, manager, "Tablet 2", station, 104, NOW)
    tablets.enrol(session, code, NOW)
    tablets.revoke(session, manager, tablet, DAY_AFTER)


def _photos(database: Database, store: PhotoStore, cast: Cast) -> tuple[str, ...]:
    contents = [jpeg(width) for width in (320, 640, 800)]
    names = tuple(sha256(content).hexdigest() for content in contents)
    with database.read() as session:
        visitor = cast.person(session, "worker")
        for name, content in zip(names, contents, strict=True):
            keep_photo(database, store, visitor, cast.worker, name, content, NOW)
    return names


def _measure(session: Session, cast: Cast, names: tuple[str, ...]) -> None:
    worker, said = cast.person(session, "worker"), Said(note="after planing")
    more = {"tablet": session.scalars(select(Tablet)).one(), "photos": names[:1]}
    new = said.new(session, cast)
    record(session, worker, type(new)(**{**vars(new), **more}), NOW)
    correct(session, cast, said)
    Said("edge_length", "DC", {"length": "23' 11\""}).record(session, cast)


def _materials(session: Session, cast: Cast) -> None:
    worker = cast.person(session, "worker")
    panel, station = find.panel(session, worker, cast.panel), find.station(session, worker, "framing")
    receive(session, worker, "ST-1", "studs", "North Mill", 15_000_000, "Two wet ones.", NOW)
    receive(session, worker, "BAG-7", "cellulose", "Loft Supply", None, "", NOW)
    for number, mark in enumerate(("ST-1", "BAG-7", "LOT-1"), 1):
        use(session, worker, UUID(int=number), mark, panel, station, NOW, LATER)


def _nonconformities(session: Session, cast: Cast, names: tuple[str, ...]) -> None:
    lead, manager = cast.person(session, "lead"), cast.person(session, "manager")
    panel = session.get_one(Panel, cast.panel)
    split = open_by_person(session, lead, panel, "Split sill.", "250,500", names[1:], NOW)
    decide(session, manager, split, "accept", "Hidden.", split.version, LATER, "Ada Fern")
    explain(session, lead, split, "Dropped.", "Softer bearers.", split.version, LATER)
    dent = open_by_person(session, lead, panel, "Dented corner.", "", (), NOW)
    link(session, lead, split, dent, LATER)
    short = session.scalars(select(Nonconformity).where(Nonconformity.reading_id.is_not(None))).one()
    decide(session, lead, short, "rework", "Fill it up.", short.version, NOW)
    Said(place="DC", at=LATER).record(session, cast, LATER)
    again = LATER + timedelta(minutes=1)
    Said("edge_length", "DC", {"length": "24' 1\""}, again).record(session, cast, again)


def _instruments(session: Session, cast: Cast) -> None:
    manager = cast.person(session, "manager")
    by_name = {one.name: one for one in session.scalars(select(Instrument))}
    details = Details(500_000, "II", 1_000_000, "K-2231", date(2027, 3, 1))
    change_instrument(session, manager, by_name["Tape 5"], details, NOW)
    check = instrument_checks.check
    check(session, manager, by_name["Tape 5"], "shift", feet(4), feet(4), "Clean.", NOW)
    instrument_checks.found_wrong(session, manager, by_name["Tape 4"], "Blade kinked.", LATER)
    check(session, manager, by_name["Tape 4"], "calibration", feet(4), feet(4), "New blade.", MENDED)
    retire_instrument(session, manager, by_name["Scale 1"], "Worn.", DAY_AFTER)


def _limits(session: Session, cast: Cast) -> None:
    begin = DAY_AFTER
    for number in range(1, 26):
        member(number, number % 5, begin + timedelta(minutes=number)).record(
            session, cast, begin + timedelta(days=1)
        )
    stream = session.scalars(select(Stream).where(Stream.characteristic == "member_length")).one()
    base = (begin, begin + timedelta(minutes=30))
    manager = cast.person(session, "manager")
    freeze_limits(session, manager, stream, base, "Steady.", begin + timedelta(days=1), despite=True)


def _leave(session: Session, cast: Cast) -> None:
    lead, house = cast.person(session, "lead"), session.get_one(Building, cast.building)
    floor, roof = session.get_one(Panel, cast.floor_panel), session.get_one(Panel, cast.panel)
    prove(session, cast, floor, at=MENDED + timedelta(minutes=1))
    load = loads.plan_load(session, lead, house, [floor], date(2026, 3, 9), LATER)
    loads.plan_load(session, lead, house, [roof], date(2026, 3, 10), LATER)
    lift_hold(session, lead, place_hold(session, lead, floor, "Wait.", NOW), "Waited.", LATER)
    first = release(session, lead, floor, DAY_AFTER)
    withdraw(session, lead, first, "Screws missing.", DAY_AFTER)
    notice = session.scalars(select(Notice).where(Notice.panel_id == floor.id)).one()
    close_notice(session, lead, notice.id, "Screws are in.", DAY_AFTER)
    release(session, lead, floor, DAY_AFTER)
    passage(session, lead, floor, "loaded", DAY_AFTER, "On top.")
    loads.release_load(session, lead, load, DAY_AFTER)
    place_hold(session, lead, roof, "Screws.", DAY_AFTER)
    crack = open_by_person(session, lead, roof, "Cracked.", "", (), DAY_AFTER)
    manager = cast.person(session, "manager")
    decide(session, manager, crack, "scrap", "Beyond repair.", crack.version, DAY_AFTER)


def _plans(session: Session, cast: Cast) -> None:
    manager = cast.person(session, "manager")
    adopt_plan(session, manager.plant, default_document() + "\n", "Yearly review.", manager, DAY_AFTER)
