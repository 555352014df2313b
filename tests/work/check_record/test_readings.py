"""Readings changed by hand: the check says which, what the record says and what the table says."""

from uuid import UUID, uuid4

import pytest
from sqlalchemy import insert, select, text, update
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument
from tests.conftest import NOW, Cast, feet
from tests.work.check_record.tampering import findings, tamper
from tests.work.conftest import Said

EVENT = "building H1, panel R-01, event 3 (02 Mar 2026 15:00:00 UTC, reading recorded)"
SIXTEENTH = 25_400_000 // 16


@pytest.mark.parametrize(
    ("change", "field", "says", "has"),
    [
        ({"amount": 1}, "amount", feet(24), 1),
        ({"verdict": "outside"}, "verdict", "“within”", "“outside”"),
        ({"entries": {"length": "25'"}}, "entries", {"length": "24'"}, {"length": "25'"}),
        ({"place": "BC"}, "place", "“AB”", "“BC”"),
        ({"reason": "No reason."}, "reason", "“”", "“No reason.”"),
        ({"measured_at": NOW.replace(hour=3)}, "time", "2026-03-02 15:00:00 UTC", "2026-03-02 03:00:00 UTC"),
        ({"lower": None}, "lower", feet(24) - SIXTEENTH, "nothing"),
        ({"upper": feet(25)}, "upper", feet(24) + SIXTEENTH, feet(25)),
        ({"target": feet(23)}, "target", feet(24), feet(23)),
        ({"note": "Fine."}, "note", "“”", "“Fine.”"),
    ],
)
def test_a_reading_changed_by_hand_is_named_with_what_the_record_says_and_what_the_table_says(
    database: Database, measured: UUID, change: dict[str, object], field: str, says: object, has: object
) -> None:
    this = update(Reading).where(Reading.uuid == measured)
    found = [f for f in tamper(database, lambda s: s.execute(this.values(**change))) if "chart" not in f]
    assert found == [
        f"{EVENT}: the record says that the {field} of the reading edge_length AB ({measured}) is {says}; "
        f"the table says {has}."
    ]


def test_another_uncertainty_is_named(database: Database, measured: UUID) -> None:
    this = update(Reading).where(Reading.uuid == measured)
    (found,) = tamper(database, lambda s: s.execute(this.values(standard_uncertainty=7)))
    assert found.startswith(f"{EVENT}: the record says that the standard uncertainty of the reading ")
    assert found.endswith("; the table says 7.")


def test_another_instrument_is_named(database: Database, measured: UUID) -> None:
    def give(session: Session) -> None:
        other = session.scalars(select(Instrument.id).where(Instrument.name == "Scale 1")).one()
        reading = session.scalars(select(Reading.id).where(Reading.uuid == measured)).one()
        change = text("UPDATE reading_instrument SET instrument_id = :other WHERE reading_id = :reading")
        session.execute(change, {"other": other, "reading": reading})

    (found,) = tamper(database, give)
    assert found.startswith(f"{EVENT}: the record says that the instruments of the reading edge_length AB ")
    assert found.endswith(" is “Tape 4”; the table says “Scale 1”.")


def test_several_instruments_are_the_same_in_whatever_order_the_table_has_them(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        Said(instruments=("tape", "scale", "moisture_meter", "core_cutter")).record(session, cast)
    assert findings(database) == []


def test_a_reading_given_to_somebody_else_is_named(database: Database, cast: Cast, measured: UUID) -> None:
    give = update(Reading).where(Reading.uuid == measured).values(person_id=cast.lead)
    (found,) = tamper(database, lambda s: s.execute(give))
    assert "the person of the reading edge_length AB" in found
    assert found.endswith(" is Wren Abbey; the table says Otto Lind.")


def test_a_reading_given_to_another_panel_is_named_for_both(
    database: Database, cast: Cast, measured: UUID
) -> None:
    give = update(Reading).where(Reading.uuid == measured).values(panel_id=cast.floor_panel)
    found = tamper(database, lambda s: s.execute(give))
    assert [f.rsplit(" is ", 1)[1] for f in found] == [
        "R-01; the table says F-01.",
        "“R-01”; the table says “F-01”.",
    ]


def test_a_reading_taken_out_leaves_an_event_without_it(
    database: Database, cast: Cast, measured: UUID
) -> None:
    def take_out(session: Session) -> None:
        number = session.scalars(select(Reading.id).where(Reading.place == "DC")).one()
        session.execute(text("DELETE FROM signal"))
        session.execute(text("DELETE FROM point"))
        this = {"id": number}
        session.execute(text("DELETE FROM reading_instrument WHERE reading_id = :id"), this)
        session.execute(text("DELETE FROM reading WHERE id = :id"), this)

    (found,) = tamper(database, take_out)
    assert found.startswith("building H1, panel R-01, event 4 ")
    assert "the record tells of the reading edge_length DC (" in found
    assert found.endswith("; the table has none like it.")


def test_a_reading_put_in_by_hand_has_no_event(database: Database, measured: UUID) -> None:
    uuid = uuid4()

    def put_in(session: Session) -> None:
        old = session.scalars(select(Reading).where(Reading.uuid == measured)).one()
        columns = {c.key: getattr(old, c.key) for c in Reading.__table__.columns if c.key != "id"}
        session.execute(insert(Reading).values(**{**columns, "uuid": uuid}))

    assert tamper(database, put_in) == [
        f"building H1, panel R-01: the table has the reading edge_length AB ({uuid}); no event tells of it."
    ]
