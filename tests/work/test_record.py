"""Recording readings: what is stored, what is refused, and where the panel goes."""

from dataclasses import replace
from datetime import timedelta, timezone
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.control_plan import Check
from qc_app.plan.method import EntryRefused
from qc_app.records.building import Lot, Panel
from qc_app.records.chart import Point, Stream
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import find
from qc_app.work.instruments import add_instrument
from qc_app.work.record import CLOCK_AHEAD, LONGEST_ENTRY, record
from qc_app.work.roles import NotAllowed
from qc_app.work.said import LONGEST_NOTE
from qc_app.work.schedule import add_panel
from tests.conftest import NOW, Cast, feet, panel_of, roof_panel
from tests.work.conftest import Said, check, member

SIXTEENTH = 25_400_000 // 16
LATER = NOW + timedelta(hours=1)


def counts(database: Database) -> tuple[int, ...]:
    """How many readings, events, points and streams there are."""
    with database.read() as session:
        tables = (Reading, Event, Point, Stream)
        return tuple(session.scalar(select(func.count()).select_from(table)) or 0 for table in tables)


def refused(database: Database, cast: Cast, said: Said, reason: str) -> Refusal:
    """The refusal of what was handed in, after seeing that it left nothing."""
    before = counts(database)
    with pytest.raises(Refusal, match=reason) as refusal, database.write() as session:
        said.record(session, cast)
    assert counts(database) == before
    return refusal.value


def test_a_reading_is_stored_word_for_word_with_what_it_was_judged_against(
    database: Database, cast: Cast
) -> None:
    typed = " 24' 0 1/16\"  "
    said = Said(entries={"length": typed, "tide": "high", "note": ""}, note="  east end, Ø 2½″ \n")
    measured_at = (NOW - timedelta(minutes=3)).astimezone(timezone(timedelta(hours=-5)))
    with database.write() as session:
        replace(said, at=measured_at).record(session, cast)
    with database.read() as session:
        reading = session.scalars(select(Reading)).one()
        assert reading.entries == {"length": typed}
        assert (reading.amount, reading.target) == (feet(24) + SIXTEENTH, feet(24))
        assert (reading.lower, reading.upper) == (feet(24) - SIXTEENTH, feet(24) + SIXTEENTH)
        assert (reading.verdict, reading.is_within, reading.deviation) == ("within", True, SIXTEENTH)
        assert reading.note == "east end, Ø 2½″"
        assert (reading.measured_at, reading.received_at) == (NOW - timedelta(minutes=3), NOW)
        assert (reading.person.name, reading.station.key, reading.place) == (
            "Wren Abbey",
            "sheathing_fence",
            "AB",
        )
        assert (reading.panel_id, reading.lot_id, reading.uuid) == (cast.panel, None, said.uuid)
        assert [instrument.name for instrument in reading.instruments] == ["Tape 4"]


def test_a_reading_beyond_its_limit_is_stored_as_outside(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        reading = Said(entries={"length": "23' 11 59/64\""}).record(session, shop)
        assert reading.verdict == "outside"
        assert panel_of(session, shop).waiting_at == "framing"


def test_a_reading_makes_an_event_in_the_chain_of_its_building(sqlite_database: Database, shop: Cast) -> None:
    said = Said(note="after planing")
    with sqlite_database.write() as session:
        uncertainty = said.record(session, shop).standard_uncertainty
    with sqlite_database.read() as session:
        chain = select(Event).where(Event.chain == f"building {shop.building}").order_by(Event.number)
        events = session.scalars(chain).all()
        assert first_break(events) is None
        assert events[-1].what == "reading recorded"
        assert (events[-1].panel_id, events[-1].person_id, events[-1].at) == (shop.panel, shop.worker, NOW)
        assert events[-1].facts == {
            "reading": str(said.uuid),
            "mark": "R-01",
            "characteristic": "edge_length",
            "place": "AB",
            "entries": {"length": "24'"},
            "amount": feet(24),
            "verdict": "within",
            "measured_at": NOW.isoformat(),
            "station": "sheathing_fence",
            "plan": 1,
            "target": feet(24),
            "lower": feet(24) - SIXTEENTH,
            "upper": feet(24) + SIXTEENTH,
            "standard_uncertainty": uncertainty,
            "instruments": ["Tape 4"],
            "note": "after planing",
        }


def test_the_same_number_again_is_the_same_reading(database: Database, cast: Cast) -> None:
    said = Said()
    with database.write() as session:
        first = said.record(session, cast).id
    before = counts(database)
    with database.write() as session:
        assert said.record(session, cast, now=LATER).id == first
    assert counts(database) == before


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        ({"place": "DC"}, r"used before for another reading \(AB\)"),
        ({"of": "floor_panel"}, "used before for another reading"),
        ({"characteristic": "squareness", "place": ""}, "used before for another reading"),
        ({"entries": {"length": "24' 0 1/16"}}, "stored already, with other values"),
    ],
)
def test_a_number_used_before_cannot_stand_for_another_reading(
    sqlite_database: Database, shop: Cast, other: dict[str, object], reason: str
) -> None:
    said = Said()
    with sqlite_database.write() as session:
        said.record(session, shop)
    refused(sqlite_database, shop, replace(said, **other), reason)  # type: ignore[arg-type]


def test_a_stranger_records_nothing_on_this_plants_panels(database: Database, cast: Cast) -> None:
    refused(database, cast, Said(who="stranger"), "R-01 belongs to another plant")


def test_a_stranger_gets_nothing_for_a_number_used_before(sqlite_database: Database, shop: Cast) -> None:
    said = Said()
    with sqlite_database.write() as session:
        said.record(session, shop)
    refused(sqlite_database, shop, replace(said, who="stranger"), "R-01 belongs to another plant")


@pytest.mark.parametrize("what", ["station", "instrument"])
def test_another_plants_station_or_instrument_is_refused(
    sqlite_database: Database, shop: Cast, what: str
) -> None:
    with sqlite_database.write() as session:
        stranger = shop.person(session, "stranger")
        add_instrument(session, stranger, "tape", "Far tape", None, NOW)
    before = counts(sqlite_database)

    def hand_in(session: Session) -> None:
        stranger = shop.person(session, "stranger")
        theirs = find.station(session, stranger, "sheathing_fence"), find.instruments(session, stranger)
        new = Said().new(session, shop)
        new = (
            replace(new, station=theirs[0]) if what == "station" else replace(new, instruments=(*theirs[1],))
        )
        record(session, shop.person(session, "worker"), new, NOW)

    with pytest.raises(Refusal, match="another plant"), sqlite_database.write() as session:
        hand_in(session)
    assert counts(sqlite_database) == before


@pytest.mark.parametrize(
    ("other", "reason"),
    [
        ({"at": NOW + CLOCK_AHEAD + timedelta(seconds=1)}, "2026-03-02T15:02:01.* has not come yet"),
        ({"note": "n" * (LONGEST_NOTE + 1)}, "at most 1000 characters; this one has 1001"),
        ({"instruments": ()}, "Length of edge needs to say which tape was used"),
        ({"instruments": ("scale",)}, "Length of edge needs to say which tape was used"),
        ({"station": "fill"}, "Length of edge is not measured at Fill"),
        ({"characteristic": "weather"}, "no characteristic “weather” for Closed roof panel"),
        ({"place": "XY"}, "R-01 has no XY for Length of edge"),
        ({"characteristic": "member_length"}, "no characteristic “member_length” for Closed roof panel"),
        ({"of": "floor_panel", "characteristic": "core_density"}, "for Open floor panel"),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(
    sqlite_database: Database, shop: Cast, other: dict[str, object], reason: str
) -> None:
    refused(sqlite_database, shop, replace(Said(), **other), reason)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("entries", "reason"),
    [
        ({}, "nothing was entered"),
        ({"length": "12 3"}, "two ways"),
        ({"length": "1" * (LONGEST_ENTRY + 1)}, "at most 200 characters; this one has 201"),
        ({"length": "24'\0"}, "is not a length"),
    ],
)
def test_a_bad_entry_names_its_field_and_leaves_nothing(
    sqlite_database: Database, shop: Cast, entries: dict[str, str], reason: str
) -> None:
    refusal = refused(sqlite_database, shop, Said(entries=entries), reason)
    assert isinstance(refusal, EntryRefused)
    assert refusal.about == "length"


def test_a_clock_a_little_ahead_is_forgiven(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        reading = Said(at=NOW + CLOCK_AHEAD, note="n" * LONGEST_NOTE).record(session, shop)
        assert reading.measured_at > reading.received_at


def test_a_note_with_a_character_that_no_database_keeps_is_stored_without_it(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        Said(note="wet\0 edge").record(session, cast)
    with database.read() as session:
        assert session.scalars(select(Reading.note)).one() == "wet\N{REPLACEMENT CHARACTER} edge"


@pytest.mark.parametrize("who", ["worker", "lead", "manager"])
def test_everyone_of_the_plant_records(sqlite_database: Database, shop: Cast, who: str) -> None:
    with sqlite_database.write() as session:
        assert Said(who=who).record(session, shop).person_id == getattr(shop, who)


def test_somebody_made_inactive_does_not(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        session.get_one(Person, shop.worker).active = False
    assert isinstance(refused(sqlite_database, shop, Said(), "Wren Abbey may not record"), NotAllowed)


def test_a_core_is_worked_out_with_the_bore_of_its_cutter(sqlite_database: Database, shop: Cast) -> None:
    # 60.0 g in a core of 2 1/2 in bore, 11 1/4 in deep: 4.139 lb/ft³ (mass / (π/4 · bore² · depth)).
    core = Said(
        "core_density",
        "bay 3",
        {"mass": "60.0 g", "depth": "11 1/4", "tare": " "},
        station="fill",
        instruments=("core_cutter", "scale"),
    )
    with sqlite_database.write() as session:
        reading = core.record(session, shop)
        assert reading.amount / 1_000_000 == pytest.approx(4.139, abs=5e-4)
        assert reading.entries == {"mass": "60.0 g", "depth": "11 1/4"}
        assert (reading.target, reading.lower, reading.upper) == (4_000_000, 3_500_000, 4_500_000)
        assert {i.name for i in reading.instruments} == {"Cutter 1", "Scale 1"}


def within(due: Check, target: int | None) -> dict[str, str]:
    """Entries that prove a check on the roof panel."""
    entries = {
        "tape": {"length": f"{(target or 0) / 1_000_000} mm"},
        "difference_of_diagonals": {"ac": "303 9/16", "bd": "303 9/16"},
        "meter": {"percent": "15"},
        "fill": {"mass": "56 lb"},
        "core": {"mass": "58 g", "depth": "11 1/4"},
        "check": {"passed": "yes"},
    }
    return entries[due.characteristic.method.key]


def test_a_panel_passes_every_station_of_its_route_once_all_is_proven(database: Database, cast: Cast) -> None:
    with database.write() as session:
        panel = panel_of(session, cast)
        plan, subject, passed = panel.control_plan.plan, panel.subject, []
        for station in plan.kind(panel.kind).route:
            for due in plan.checks(subject, station):
                assert panel.waiting_at == station
                asked = due.characteristic
                entries = within(due, asked.requirement(subject, due.place).target)
                said = Said(asked.key, due.place, entries, station=station, instruments=asked.instruments)
                said.record(session, cast)
            passed.append(station)
        assert panel.waiting_at is None
        assert passed == ["framing", "sheathing_fence", "services", "fill", "air_seal", "final"]


def test_a_reading_outside_brings_the_panel_back(sqlite_database: Database, shop: Cast) -> None:
    def connector(number: int, position: str, minute: int = 0) -> Said:
        place, at = f"connector {number}", NOW + timedelta(minutes=minute)
        return Said("connector_position", place, {"length": position}, at, station="framing")

    steps = [
        (connector(1, "4' 0 1/8"), "framing"),
        (connector(2, "20'"), "framing"),
        (check("framing_check", "framing"), "sheathing_fence"),
        (Said(entries={"length": "24' 1"}), "sheathing_fence"),
        (connector(2, "20' 0 9/64", minute=5), "framing"),
        (connector(2, "20' 0 1/8", minute=6), "sheathing_fence"),
    ]
    with sqlite_database.write() as session:
        for said, waiting_at in steps:
            said.record(session, shop, now=LATER)
            assert panel_of(session, shop).waiting_at == waiting_at


def test_the_newest_reading_by_time_of_measuring_counts(database: Database, cast: Cast) -> None:
    def framing(passed: str, minute: int) -> Said:
        at = NOW + timedelta(minutes=minute)
        return replace(check("framing_check", "framing", passed), at=at, of="floor_panel")

    with database.write() as session:
        floor = session.get_one(Panel, cast.floor_panel)
        framing("no", 10).record(session, cast, now=LATER)
        assert floor.waiting_at == "framing"
        framing("yes", 5).record(session, cast, now=LATER)  # measured before, handed in late
        assert floor.waiting_at == "framing"
        framing("yes", 11).record(session, cast, now=LATER)
        assert floor.waiting_at == "sheathing_fence"
        framing("no", 7).record(session, cast, now=LATER)
        assert floor.waiting_at == "sheathing_fence"
        framing("no", 12).record(session, cast, now=LATER)
        assert floor.waiting_at == "framing"


def test_of_two_measured_at_the_same_time_the_one_recorded_last_counts(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        floor = session.get_one(Panel, shop.floor_panel)
        replace(check("framing_check", "framing", "no"), of="floor_panel").record(session, shop)
        replace(check("framing_check", "framing", "yes"), of="floor_panel").record(session, shop)
        assert floor.waiting_at == "sheathing_fence"


def test_a_lot_is_proven_by_its_sample(database: Database, cast: Cast) -> None:
    with database.write() as session:
        lot = session.get_one(Lot, cast.lot)
        for number in (1, 2, 3):
            reading = member(number, number).record(session, cast)
            assert (reading.lot_id, reading.panel_id, reading.target) == (cast.lot, None, feet(8))
            moisture = {"percent": f"{15 + number} %"}
            place = f"member {number}"
            Said(
                "member_moisture",
                place,
                moisture,
                of="lot",
                station="framing",
                instruments=("moisture_meter",),
            ).record(session, cast)
            assert lot.waiting_at == (None if number == 3 else "framing")
        events = session.scalars(select(Event).where(Event.what == "reading recorded")).all()
        assert {event.chain for event in events} == {f"plant {lot.plant_id}"}
        assert {event.panel_id for event in events} == {None}


def test_two_who_record_at_the_same_time_share_one_chart(database: Database, cast: Cast) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        building = panel_of(session, cast).building
        more = [add_panel(session, manager, building, roof_panel(f"R-1{n}", n), NOW).id for n in range(4)]
    casts = [replace(cast, panel=panel) for panel in more]
    together, failures = Barrier(len(casts)), []

    def hand_in(of: Cast) -> None:
        together.wait()
        try:
            with database.write() as session:
                Said().record(session, of)
        except Exception as error:
            failures.append(error)

    threads = [Thread(target=hand_in, args=(of,)) for of in casts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert failures == []
    with database.read() as session:
        assert session.scalars(select(Stream.name)).all() == ["Length of edge, AB"]
        assert len(session.scalars(select(Point)).all()) == len(casts)


def test_the_same_number_sent_twice_at_once_is_stored_once(database: Database, cast: Cast) -> None:
    said, together, stored = Said(uuid=uuid4()), Barrier(2), []

    def hand_in() -> None:
        together.wait()
        with database.write() as session:
            stored.append(said.record(session, cast).id)

    threads = [Thread(target=hand_in) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert len(stored) == 2
    assert len(set(stored)) == 1
    assert counts(database)[0] == 1


def test_a_core_without_a_bore_names_the_field(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        add_instrument(session, shop.person(session, "manager"), "core_cutter", "Z", parse_length("3"), NOW)
    core = Said(
        "core_density", "bay 3", {"mass": "60 g", "depth": "9"}, station="fill", instruments=("scale",)
    )
    assert refused(sqlite_database, shop, core, "core cutter first").about == "mass"
