"""Readings as files: good rows, bad rows, and the same file twice."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.chart import Point
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.local_time import parse_time
from qc_app.work.readings_file import READINGS_COLUMNS, ExaminedReadings, examine_readings, take_readings
from qc_app.work.roles import NotAllowed
from tests.conftest import NOW, Cast, stage

HEADER = (
    "reading_id,building,mark,lot,station,characteristic,place,value,value_2,value_3,"
    "instruments,measured_at,person,note"
)
EDGE = {
    "building": "H1",
    "mark": "R-01",
    "station": "sheathing_fence",
    "characteristic": "edge_length",
    "place": "AB",
    "value": "24' 0 1/16",
    "instruments": "Tape 4",
    "measured_at": "2026-03-02T09:30",
}
CORE = EDGE | {
    "station": "Fill",
    "characteristic": "Core-sample density",
    "place": "bay 3",
    "value": "60.0 g",
    "value_2": "11 1/4",
    "instruments": "cutter 1; scale 1",
}

FILL = CORE | {
    "characteristic": "bay_fill",
    "value": "56 lb",
    "value_2": "gate 4",
    "value_3": "95",
    "instruments": "Scale 1",
}


def readings(*rows: dict[str, str]) -> bytes:
    """A file of readings with these rows."""
    names = HEADER.split(",")
    return "\r\n".join([HEADER, *(",".join(row.get(name, "") for name in names) for row in rows)]).encode()


@pytest.fixture
def shop(sqlite_database: Database) -> Iterator[tuple[Session, Cast]]:
    """A session on the shop on stage, with a panel in the other plant; whatever it changes is dropped."""
    cast = stage(sqlite_database)
    with sqlite_database.read() as session:
        yield session, cast


def examined(shop: tuple[Session, Cast], *rows: dict[str, str]) -> ExaminedReadings:
    session, cast = shop
    return examine_readings(session, cast.person(session, "manager"), "r.csv", readings(*rows), NOW)


def test_each_method_takes_its_values_in_order(shop: tuple[Session, Cast]) -> None:
    squareness = EDGE | {
        "characteristic": "squareness",
        "place": "",
        "value": "25' 3 5/8",
        "value_2": "25-3-9",
    }
    check = EDGE | {"characteristic": "nailing_check", "place": "", "value": "no", "value_2": "2"}
    moisture = EDGE | {
        "mark": "",
        "lot": "lot-1",
        "station": "framing",
        "characteristic": "member_moisture",
        "place": "Member 2",
        "value": "14.5 %",
        "instruments": "Meter 2",
    }
    tared = CORE | {"value_3": "4 g"}
    where = check | {"characteristic": "framing_check", "station": "framing", "value_3": '"25,50; 81,12"'}
    found = examined(shop, EDGE, squareness, check, moisture, tared, where, FILL)
    assert found.bad == ()
    assert [incoming.reading.entries for incoming in found.good] == [
        {"length": "24' 0 1/16"},
        {"ac": "25' 3 5/8", "bd": "25-3-9"},
        {"passed": "no", "faults": "2"},
        {"percent": "14.5 %"},
        {"mass": "60.0 g", "depth": "11 1/4", "tare": "4 g"},
        {"passed": "no", "faults": "2", "where": "25,50; 81,12"},
        {"mass": "56 lb", "setting": "gate 4", "seconds": "95"},
    ]
    assert found.good[3].reading.place == "member 2"


BAD = [
    (EDGE | {"mark": "R-99"}, "mark", "no panel in building H1 “R-99”"),
    (EDGE | {"building": "H9"}, "building", "no building “H9”"),
    (EDGE | {"building": ""}, "building", "no building “”"),
    (EDGE | {"mark": ""}, "mark", "mark of a panel or a lot"),
    (EDGE | {"lot": "LOT-1"}, "lot", "mark of a panel or a lot"),
    (EDGE | {"mark": "", "lot": "LOT-9"}, "lot", "no lot “LOT-9”"),
    (EDGE | {"station": "fill"}, "station", "not measured at Fill"),
    (EDGE | {"station": "moon"}, "station", "no station “moon”"),
    (EDGE | {"characteristic": "shine"}, "characteristic", "no characteristic of this kind “shine”"),
    (EDGE | {"mark": "F-01", "characteristic": "core_density"}, "characteristic", "no characteristic"),
    (EDGE | {"place": "XY"}, "place", "R-01 has no XY"),
    (EDGE | {"place": ""}, "place", "has no"),
    (CORE | {"place": "bay 13"}, "place", "has no bay 13"),
    (EDGE | {"value": ""}, "value", "nothing was entered"),
    (EDGE | {"value": "NaN"}, "value", "not a length"),
    (EDGE | {"value": "inf"}, "value", "not a length"),
    (EDGE | {"value": "1e999"}, "value", "not a length"),
    (EDGE | {"value": "-0.25"}, "value", "has a sign"),
    (EDGE | {"value": "=A1"}, "value", "not a length"),
    (EDGE | {"value": "x" * 300}, "value", "at most 200 characters"),
    (EDGE | {"value_2": "8'"}, "value_2", "takes nothing here"),
    (CORE | {"value_2": "14"}, "value_2", "deeper than its bay"),
    (CORE | {"value_3": "60 g"}, "value", "more than its tare"),
    (CORE | {"instruments": "Scale 1"}, "instruments", "core cutter"),
    (FILL | {"value": "7 lb 2"}, "value", "not a mass"),
    (FILL | {"value": "300 lb"}, "value", "mass of this bay alone?"),
    (FILL | {"value_3": "long"}, "value_3", "whole number from 0"),
    (EDGE | {"instruments": ""}, "instruments", "which tape"),
    (EDGE | {"instruments": "Tape 9"}, "instruments", "no instrument “Tape 9”"),
    (EDGE | {"measured_at": ""}, "measured_at", "A time is written like"),
    (EDGE | {"measured_at": "yesterday"}, "measured_at", "A time is written like"),
    (EDGE | {"measured_at": "2026-03-02T10:05"}, "measured_at", "has not come yet"),
    (EDGE | {"measured_at": "2999-12-31T23:59Z"}, "measured_at", "has not come yet"),
    (EDGE | {"measured_at": "2025-11-02T01:30"}, "measured_at", "came twice"),
    (EDGE | {"measured_at": "2025-03-09T02:30"}, "measured_at", "no such time"),
    (EDGE | {"person": "sten"}, "person", "no person “sten”"),
    (EDGE | {"note": "n" * 1001}, "note", "at most 1000 characters"),
    (EDGE | {"reading_id": "7"}, "reading_id", "no UUID"),
]


@pytest.mark.parametrize(("row", "column", "reason"), BAD)
def test_looking_finds_what_recording_would_refuse(
    shop: tuple[Session, Cast], row: dict[str, str], column: str, reason: str
) -> None:
    found = examined(shop, EDGE | {"place": "DC"}, row)
    assert [incoming.row.number for incoming in found.good] == [2]
    (bad,) = found.bad
    assert (bad.row, bad.column, bad.value) == (3, column, row.get(column, ""))
    assert reason in bad.reason


def test_another_plants_panel_is_not_found(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    stranger = cast.person(session, "stranger")
    (bad,) = examine_readings(session, stranger, "r.csv", readings(EDGE), NOW).bad
    assert bad.column == "building"


def test_a_correction_is_not_imported(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    header, row = readings(EDGE).split(b"\r\n")
    content = header + b",supersedes\r\n" + row + b"," + str(uuid4()).encode()
    (bad,) = examine_readings(session, cast.person(session, "manager"), "r.csv", content, NOW).bad
    assert bad.column == "supersedes"


def test_who_may_not_record_cannot_be_named(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    cast.person(session, "worker").active = False
    (bad,) = examined(shop, EDGE | {"person": "wren"}).bad
    assert (bad.column, bad.reason) == ("person", "Wren Abbey may not record readings.")


def test_an_instrument_out_of_use_may_be_named(shop: tuple[Session, Cast]) -> None:
    session, _ = shop
    (good,) = examined(shop, EDGE).good
    good.reading.instruments[0].active = False
    session.flush()
    assert examined(shop, EDGE).bad == ()


def test_one_number_for_two_readings_is_refused_for_both(shop: tuple[Session, Cast]) -> None:
    number = {"reading_id": str(uuid4())}
    found = examined(shop, EDGE | number, EDGE | number | {"value": "24'"}, EDGE)
    assert [bad.row for bad in found.bad] == [2, 3]
    assert found.bad[0].reason == "Rows 2, 3 are different readings under one number."
    assert len(found.good) == 1


def test_the_same_row_twice_is_one_reading(shop: tuple[Session, Cast]) -> None:
    found = examined(shop, EDGE, EDGE | {"measured_at": "2026-03-02 14:30Z", "note": "again"})
    assert (len(found.good), found.unchanged) == (1, 1)


def test_readings_stand_in_the_order_they_were_measured(shop: tuple[Session, Cast]) -> None:
    times = ["2026-03-02T09:30", "2026-03-02T13:00Z", "2026-03-02T09:00:00.5-05:00"]
    found = examined(shop, *(EDGE | {"measured_at": time} for time in times))
    assert [incoming.row.number for incoming in found.good] == [3, 4, 2]


def test_only_quality_imports(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    for who in ("worker", "lead"):
        for act in (examine_readings, take_readings):
            with pytest.raises(NotAllowed):
                act(session, cast.person(session, who), "r.csv", readings(EDGE), NOW)


def _counts(session: Session) -> tuple[int | None, ...]:
    return tuple(session.scalar(select(func.count()).select_from(table)) for table in (Reading, Point, Event))


def test_the_same_file_twice_changes_nothing(database: Database, cast: Cast) -> None:
    rows = (
        EDGE | {"person": "wren", "note": "first"},
        EDGE | {"value": "junk"},
        CORE | {"reading_id": str(uuid4())},
        EDGE | {"measured_at": "2026-03-02T09:15", "value": "23' 11"},
    )
    with database.write() as session:
        taken = take_readings(session, cast.person(session, "manager"), "r.csv", readings(*rows), NOW)
        before = _counts(session)
    assert (taken.added, taken.unchanged, len(taken.bad)) == (3, 0, 1)
    with database.write() as session:
        again = take_readings(session, cast.person(session, "manager"), "r.csv", readings(*rows), NOW)
        assert (again.added, again.unchanged, len(again.bad)) == (0, 3, 1)
        assert _counts(session) == before
        stored = list(session.scalars(select(Reading).order_by(Reading.id)))
        assert [reading.verdict for reading in stored] == ["outside", "within", "within"]
        assert stored[1].person == session.scalars(select(Person).where(Person.sign_in_name == "wren")).one()
        assert (stored[1].note, stored[1].entries) == ("first", {"length": "24' 0 1/16"})
        assert stored[1].measured_at == datetime(2026, 3, 2, 14, 30, tzinfo=UTC)
        # 60.0 g in 2 1/2 in bore and 11 1/4 in depth, worked by hand: 4.139 lb/ft³
        assert round(stored[2].amount / 1_000_000, 3) == 4.139
        assert {instrument.name for instrument in stored[2].instruments} == {"Cutter 1", "Scale 1"}


def test_a_reading_never_changes_by_import(shop: tuple[Session, Cast]) -> None:
    session, cast = shop
    number = {"reading_id": str(uuid4())}
    take_readings(session, cast.person(session, "manager"), "r.csv", readings(EDGE | number), NOW)
    same_amount = examined(shop, EDGE | number | {"value": "288.0625"})
    assert (same_amount.unchanged, same_amount.bad) == (1, ())
    for change in ({"value": "24'"}, {"place": "DC"}, {"measured_at": "2026-03-02T09:31"}, {"mark": "F-01"}):
        (bad,) = examined(shop, EDGE | number | change).bad
        assert bad.column == "reading_id"
        assert "says something else" in bad.reason


def test_the_examples_in_the_documentation_make_good_rows(shop: tuple[Session, Cast]) -> None:
    row = {column.name: column.example for column in READINGS_COLUMNS}
    diagonals = row | {"lot": "", "place": "", "value_3": ""}
    assert examined(shop, diagonals).bad == ()


NEW_YORK = ZoneInfo("America/New_York")


@pytest.mark.parametrize(
    ("text", "instant"),
    [
        ("2026-03-02T09:30", "2026-03-02T14:30:00+00:00"),
        (" 2026-03-02 09:30:15 ", "2026-03-02T14:30:15+00:00"),
        ("2026-07-02T09:30", "2026-07-02T13:30:00+00:00"),
        ("2026-03-02T09:30Z", "2026-03-02T09:30:00+00:00"),
        ("2026-03-02t09:30:00.25z", "2026-03-02T09:30:00.250000+00:00"),
        ("2026-03-02 09:30 +01:00", "2026-03-02T08:30:00+00:00"),
        ("2026-03-02T09:30-0500", "2026-03-02T14:30:00+00:00"),
        # both hours that a US clock shows as 01:30 on 2 November 2025 (15 U.S.C. 260a)
        ("2025-11-02T01:30-04:00", "2025-11-02T05:30:00+00:00"),
        ("2025-11-02T01:30-05:00", "2025-11-02T06:30:00+00:00"),
    ],
)
def test_times_are_read_with_their_offset_or_as_local(text: str, instant: str) -> None:
    assert parse_time(text, NEW_YORK).isoformat() == instant


@pytest.mark.parametrize(
    "text",
    [
        *(
            "",
            "2026-03-02",
            "09:30",
            "2026-02-30T09:30",
            "2026-03-02T25:00",
            "02/03/2026 09:30",
            "1772443800",
        ),
        *(
            "2026-03-02T09:30+99:00",
            "0001-01-01T00:00+14:00",
            "1969-12-31T23:59",
            "２０２６-03-02T09:30",
            "2026-W10-1",
        ),
        *(
            "2026-03-02T09:30:00.1234567",
            "2026-03-02T09:30 EST",
            "2026-03-02T09:30\n=1",
            "9999-12-31T23:59-14:00",
        ),
    ],
)
def test_what_is_no_single_instant_is_refused(text: str) -> None:
    with pytest.raises(Refusal):
        parse_time(text, NEW_YORK)


def test_the_hours_around_a_change_of_clocks_are_read() -> None:
    before, after = (parse_time(f"2025-11-02T{hour}", NEW_YORK) for hour in ("00:59", "02:00"))
    assert after - before == timedelta(hours=2, minutes=1)
