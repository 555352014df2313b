"""Checks of instruments, lots of material and their use, as they come from a tablet; also when spoiled."""

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import func, select

from qc_app.plan.quantity import GRAINS
from qc_app.records.database import Database
from qc_app.records.instrument_check import InstrumentCheck
from qc_app.records.material import LotUse, MaterialLot
from qc_app.records.shop import Instrument
from qc_app.records.tablet import Notice, OutboxEntry
from qc_app.work.notices import INSTRUMENT_OVERDUE
from tests.conftest import NOW, Cast
from tests.work.sent import Outbox, enrolled, reading, readings, reasons, remarks, states

LATER = NOW + timedelta(hours=3)
TAPE, SCALE, METER, CUTTER = 1, 2, 3, 4
MATERIAL = {"material": "studs", "mark": "ST-1", "supplier": "Alder", "moisture": "16 %", "remark": ""}


def checked(instrument: int = TAPE, *checks: tuple[str | None, str], **otherwise: Any) -> dict[str, Any]:
    """The content of a check; the tape reads its bar exactly unless something else is said."""
    made = [{"reference": r, "read": read} for r, read in checks or (("8'", "8'"),)]
    return {"instrument": instrument, "checks": made, "remark": "", **otherwise}


def used(cast: Cast, mark: str = "ST-1", **otherwise: Any) -> dict[str, Any]:
    """The content of a use of a lot in the cast's panel."""
    return {"station": "framing", "item": "panel", "id": cast.panel, "mark": mark, **otherwise}


def count(database: Database, table: type[Any]) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def test_a_check_that_passes_says_by_how_much(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry(checked(TAPE, ("8'", "8' 1/32"), remark="cold"), "instrument_check")
    taken = outbox.send(database, tablet, entry, now=LATER)
    assert states(taken) == ["kept"]
    assert remarks(taken) == "Tape 4 passed: off by 0.031 in, at most 0.062 in permitted."
    with database.read() as session:
        made = session.scalars(select(InstrumentCheck)).one()
        assert (made.passed, made.person_id, made.at, made.remark) == (True, cast.worker, NOW, "cold")


def test_a_check_that_fails_says_what_to_do(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    taken = outbox.send(database, tablet, outbox.entry(checked(TAPE, ("8'", "8' 1/8")), "instrument_check"))
    assert states(taken) == ["kept"]
    assert "Tape 4 failed: off by 0.125 in" in remarks(taken)
    assert "Put it aside" in remarks(taken)


def test_a_scale_is_checked_empty_and_with_its_weight_in_one_entry(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    content = checked(SCALE, ("0 g", "-0.1 g"), ("500 g", "499.8 g"))
    taken = outbox.send(database, tablet, outbox.entry(content, "instrument_check"))
    assert remarks(taken).startswith("Scale 1 passed: off by 0.1 g, at most 0.1 g permitted. Scale 1 failed:")
    with database.read() as session:
        rows = session.scalars(select(InstrumentCheck).order_by(InstrumentCheck.id)).all()
        assert [(row.reference, row.read, row.passed) for row in rows] == [
            (0, -100_000, True),
            (500 * GRAINS, 499_800_000, False),
        ]


def test_a_cutter_needs_no_reference(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    content = checked(CUTTER, (None, "2 1/2"))
    assert states(outbox.send(database, tablet, outbox.entry(content, "instrument_check"))) == ["kept"]


def test_an_instrument_found_wrong_is_sent_with_its_reason(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    wrong = {"instrument": TAPE, "wrong": True, "remark": "Hook bent."}
    taken = outbox.send(database, tablet, outbox.entry(wrong, "instrument_check"))
    assert remarks(taken).startswith("Tape 4 is down as wrong.")
    empty = outbox.entry({**wrong, "remark": " "}, "instrument_check")
    taken = outbox.send(database, tablet, empty)
    assert states(taken) == ["refused"]
    assert taken.answers[0].reasons[0].field == "reason"
    assert count(database, InstrumentCheck) == 1


def test_a_check_sent_again_is_stored_once(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry(checked(), "instrument_check")
    first, again = (outbox.send(database, tablet, entry) for _ in range(2))
    assert first.answers == again.answers
    assert count(database, InstrumentCheck) == 1


def test_all_checks_of_an_entry_are_recorded_or_none(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    content = checked(SCALE, ("0 g", "0 g"), ("500 g", "half a pound"))
    taken = outbox.send(sqlite_database, tablet, outbox.entry(content, "instrument_check"))
    assert states(taken) == ["refused"]
    assert taken.answers[0].reasons[0].field == "read"
    assert count(sqlite_database, InstrumentCheck) == 0


def test_readings_of_an_overdue_instrument_are_kept_and_remarked_on(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    with database.write() as session:
        session.get_one(Instrument, TAPE).due_on = NOW.date() - timedelta(days=1)
    outbox = Outbox(cast)
    taken = outbox.send(
        database, tablet, outbox.entry(readings(cast, reading(), reading("DC"))), outbox.entry()
    )
    assert states(taken) == ["kept", "kept"]
    assert remarks(taken).count("Tape 4 should have been calibrated by 2026-03-01") == 2
    with database.read() as session:
        told = session.scalars(select(Notice).where(Notice.about == INSTRUMENT_OVERDUE)).one()
        assert (told.tablet_id, told.facts["instrument"]) == (tablet, "Tape 4")


def test_material_is_received_and_used_from_a_tablet(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    arrived = outbox.entry(MATERIAL, "material")
    use = outbox.entry(used(cast, "st-1"), "lot_use", at=NOW + timedelta(minutes=5))
    taken = outbox.send(database, tablet, arrived, use, now=LATER)
    assert states(taken) == ["kept", "kept"]
    assert remarks(taken) == ""
    with database.read() as session:
        lot = session.scalars(select(MaterialLot)).one()
        assert (lot.mark, lot.supplier, lot.moisture, lot.received_at) == (
            "ST-1",
            "Alder",
            16 * GRAINS,
            NOW,
        )
        stored = session.scalars(select(LotUse)).one()
        assert (str(stored.uuid), stored.material_lot_id, stored.panel_id) == (
            use["uuid"],
            lot.id,
            cast.panel,
        )
        assert (stored.person_id, stored.at) == (cast.worker, NOW + timedelta(minutes=5))


def test_wet_studs_are_remarked_on_when_they_come_and_when_they_are_used(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    arrived = outbox.entry({**MATERIAL, "moisture": "22"}, "material")
    taken = outbox.send(database, tablet, arrived, outbox.entry(used(cast), "lot_use"))
    assert states(taken) == ["kept", "kept"]
    assert "ST-1 came in at 22.0 %, and the limit is 18.0 %. Let it dry" in remarks(taken)
    assert "The shop lead has been told." in remarks(taken)


def test_members_whose_checks_are_open_may_be_used_with_a_remark(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    taken = outbox.send(database, tablet, outbox.entry(used(cast, "LOT-1"), "lot_use"))
    assert states(taken) == ["kept"]
    assert remarks(taken) == "Lot LOT-1 has checks that are not within yet."


def test_a_lot_that_nobody_booked_in_is_refused_and_can_be_corrected(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    taken = outbox.send(database, tablet, outbox.entry(used(cast, "ST-99"), "lot_use"))
    assert states(taken) == ["refused"]
    assert "no lot marked “ST-99”" in reasons(taken)
    assert (count(database, LotUse), count(database, OutboxEntry)) == (0, 1)


HOSTILE_TEXTS = (
    "\0",
    "\ud800",
    "<script>alert(1)</script>",
    "'; DROP TABLE lot_use; --",
    "\u202e",
    "x" * 5000,
)


SPOILED: tuple[object, ...] = (None, -1, 2**80, 1.5, True, [], {}, [[]], "", *HOSTILE_TEXTS)


@pytest.mark.parametrize(
    ("form", "key"),
    [
        ("instrument_check", "instrument"),
        ("instrument_check", "checks"),
        ("material", "material"),
        ("material", "mark"),
        ("material", "moisture"),
        ("lot_use", "mark"),
        ("lot_use", "station"),
        ("lot_use", "id"),
        ("lot_use", "item"),
    ],
)
def test_spoiled_content_is_refused_in_words_and_never_upsets_the_server(
    sqlite_database: Database, shop: Cast, form: str, key: str
) -> None:
    whole = {"instrument_check": checked(), "material": MATERIAL, "lot_use": used(shop, "LOT-1")}[form]
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    entries = [outbox.entry({**whole, key: value}, form) for value in SPOILED]
    taken = outbox.send(sqlite_database, tablet, *entries)
    kept = [value for value, state in zip(SPOILED, states(taken), strict=True) if state == "kept"]
    # As odd as they are, these are marks that a label may say.
    assert set(states(taken)) <= {"refused", "kept"}
    assert all(isinstance(value, str) and (form, key) == ("material", "mark") for value in kept)
    assert all(answer.reasons for answer in taken.answers if answer.state.value == "refused")


@pytest.mark.parametrize(
    "checks",
    [
        [None],
        [{}],
        [{"reference": "8'"}],
        [{"reference": 8, "read": "8'"}],
        [{"reference": "8'", "read": ["8'"]}],
        [{"reference": "8'", "read": "8'"}] * 5,
        [{"reference": "x" * 41, "read": "8'"}],
        [{"reference": None, "read": "8'"}],
        [{"reference": "-8'", "read": "8'"}],
        [{"reference": "0", "read": "0"}],
    ],
)
def test_spoiled_checks_are_refused(sqlite_database: Database, shop: Cast, checks: list[object]) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    content = {"instrument": TAPE, "checks": checks, "remark": ""}
    taken = outbox.send(sqlite_database, tablet, outbox.entry(content, "instrument_check"))
    assert states(taken) == ["refused"]
    assert count(sqlite_database, InstrumentCheck) == 0


def test_another_plants_instruments_and_lots_are_not_there(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        stranger = shop.person(session, "stranger")
        far = Instrument(plant_id=stranger.plant_id, kind="tape", name="Far tape")
        session.add(far)
        session.flush()
        number = far.id
    outbox = Outbox(shop)
    taken = outbox.send(
        sqlite_database, tablet, outbox.entry(checked(number), "instrument_check"), outbox.entry()
    )
    assert states(taken) == ["refused", "kept"]
    assert "no such instrument" in reasons(taken)
