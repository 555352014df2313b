"""Outboxes of tablets: each entry is stored once, answered and proven its author's; gaps are noticed."""

import base64
import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select

from qc_app.records.building import Lot, Panel
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.photo_store import PhotoStore, name_of
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.records.tablet import Notice, OutboxEntry, Tablet
from qc_app.work import find
from qc_app.work.notices import AFTER_RELEASE, CLOCK, GAP, MEMORY, close_notice
from qc_app.work.outbox import Malformed, forms, read_batch, take
from qc_app.work.outbox.batch import LARGEST_BATCH
from qc_app.work.outbox.file import read_file, take_file
from qc_app.work.outbox.take import log
from qc_app.work.pins import HOLDS_FOR, note_sign_in
from qc_app.work.release import release
from qc_app.work.roles import NotAllowed
from qc_app.work.setup import adopt_plan, default_document
from qc_app.work.state import state_of
from tests.conftest import NOW, Cast
from tests.work.proven import prove
from tests.work.sent import Outbox, enrolled, reading, readings, reasons, remarks, states
from tests.work.test_photos import jpeg

LATER = NOW + timedelta(hours=1)


def count(database: Database, table: type[Any]) -> int:
    with database.read() as session:
        return session.scalar(select(func.count()).select_from(table)) or 0


def notices(database: Database, about: str) -> list[tuple[dict[str, Any], bool]]:
    """Facts of each notice of a kind, and whether it is open."""
    with database.read() as session:
        found = session.scalars(select(Notice).where(Notice.about == about).order_by(Notice.id))
        return [(notice.facts, notice.closed_at is None) for notice in found]


def only_reading(database: Database) -> Reading:
    with database.read() as session:
        return session.scalars(select(Reading)).one()


# Stored once, and answered the same.


def test_an_entry_is_stored_with_its_readings_and_its_answer(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry(readings(cast, reading(), reading("DC", "24' 1"), note="east"))
    taken = outbox.send(database, tablet, entry)
    assert states(taken) == ["kept"]
    assert [(r.place, r.verdict) for r in taken.answers[0].readings] == [("AB", "within"), ("DC", "outside")]
    with database.read() as session:
        stored = session.scalars(select(OutboxEntry)).one()
        assert (stored.tablet_id, stored.person_id, stored.form) == (tablet, cast.worker, "readings")
        assert (stored.content, stored.kept, stored.received_at) == (entry["content"], True, NOW)
        kept = session.scalars(select(Reading).order_by(Reading.id)).all()
        assert [(r.place, r.note, r.tablet_id, r.person_id) for r in kept] == [
            ("AB", "east", tablet, cast.worker),
            ("DC", "east", tablet, cast.worker),
        ]


def test_the_same_entry_again_gets_the_same_answer_and_leaves_one_row(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    kept, refused = outbox.entry(), outbox.entry(readings(cast, reading(length="12 3")))
    first = outbox.send(database, tablet, kept, refused)
    assert states(first) == ["kept", "refused"]
    again = outbox.send(database, tablet, refused, kept, now=LATER)
    assert again.answers == first.answers
    assert (count(database, OutboxEntry), count(database, Reading)) == (2, 1)


def test_other_content_under_a_number_used_before_is_refused(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry()
    outbox.send(database, tablet, entry)
    taken = outbox.send(database, tablet, entry | {"content": readings(cast, reading("DC"))})
    assert states(taken) == ["refused"]
    assert "stored already, with other content" in reasons(taken)
    other = outbox.entry() | {"sequence": 1}
    taken = outbox.send(database, tablet, other)
    assert states(taken) == ["refused"]
    assert "as number 1" in reasons(taken)
    assert (count(database, OutboxEntry), count(database, Reading)) == (1, 1)


def test_all_readings_of_an_entry_are_recorded_or_none_and_each_fault_is_named(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    good, unread, unknown = reading(), reading("DC", "12 3"), reading("XY")
    taken = outbox.send(sqlite_database, tablet, outbox.entry(readings(shop, good, unread, unknown)))
    (answer,) = taken.answers
    assert [(r.reading, r.field) for r in answer.reasons] == [
        (unread["uuid"], "length"),
        (unknown["uuid"], None),
    ]
    assert count(sqlite_database, Reading) == 0
    with sqlite_database.read() as session:
        assert session.scalars(select(OutboxEntry.kept)).all() == [False]


def test_one_bad_entry_never_holds_up_the_others(
    sqlite_database: Database, shop: Cast, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    before, bad, after = outbox.entry(), outbox.entry(form="lot", content={}), outbox.entry()

    def fail(*_: object) -> None:
        raise RuntimeError("unforeseen")

    monkeypatch.setitem(forms.FORMS, "lot", fail)
    with caplog.at_level("ERROR", logger=log.name):
        taken = outbox.send(sqlite_database, tablet, before, bad, after)
    assert states(taken) == ["kept", "later", "kept"]
    assert taken.missing == (2,)
    assert "unforeseen" in caplog.text
    assert count(sqlite_database, OutboxEntry) == 2


def test_a_lot_is_booked_in_from_a_tablet(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    sizes = {"length": "8'", "width": "1 1/2", "depth": "11 1/4"}
    lot = outbox.entry(form="lot", content={"kind": "precut_members", "mark": "LOT-7", **sizes})
    bad = outbox.entry(
        form="lot", content={"kind": "precut_members", "mark": "LOT-8", **sizes, "width": "wide"}
    )
    taken = outbox.send(database, tablet, lot, bad)
    assert states(taken) == ["kept", "refused"]
    assert taken.answers[1].reasons[0].field == "width"
    with database.read() as session:
        assert sorted(session.scalars(select(Lot.mark))) == ["LOT-1", "LOT-7"]


def test_what_was_undone_is_kept_as_it_came_and_records_nothing(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    undone = outbox.entry(form="undone", content={"form": "readings", "content": readings(cast)})
    taken = outbox.send(database, tablet, undone)
    assert (states(taken), taken.missing) == (["kept"], ())
    assert (count(database, Reading), count(database, OutboxEntry)) == (0, 1)


# Whose it is.


def test_who_has_not_signed_in_on_the_tablet_is_asked_to_and_then_it_goes_by_itself(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast, who=())
    outbox = Outbox(cast)
    entry = outbox.entry()
    early = outbox.send(database, tablet, entry)
    assert states(early) == ["later"]
    assert reasons(early).startswith("Wren Abbey has not signed in on this tablet.")
    assert (count(database, OutboxEntry), early.missing) == (0, (1,))
    with database.write() as session:
        note_sign_in(session, tablet, cast.worker, LATER)
    assert states(outbox.send(database, tablet, entry, now=LATER)) == ["kept"]


def test_a_sign_in_holds_for_thirty_days(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    entries = outbox.entry(), outbox.entry()
    last = NOW + HOLDS_FOR
    assert states(outbox.send(sqlite_database, tablet, entries[0], now=last - timedelta(seconds=1))) == [
        "kept"
    ]
    assert states(outbox.send(sqlite_database, tablet, entries[1], now=last)) == ["later"]


def test_entries_are_only_of_people_of_the_plant_who_may_record(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop, who=("worker", "stranger"))
    outbox = Outbox(shop)
    with sqlite_database.write() as session:
        session.get_one(Person, shop.worker).active = False
    gone, strange, nobody = (outbox.entry(person=who) for who in (shop.worker, shop.stranger, 10**15))
    taken = outbox.send(sqlite_database, tablet, gone, strange, nobody)
    assert states(taken) == ["later", "refused", "refused"]
    assert "Wren Abbey may not record any more" in reasons(taken)
    assert count(sqlite_database, OutboxEntry) == 0


def test_another_plants_panel_is_not_there(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.read() as session:
        stranger = shop.person(session, "stranger")
        batch = Outbox(shop)
        entry = batch.entry(person=shop.stranger)
        taken = take(sqlite_database, stranger, read_batch(json.dumps(batch.batch(entry)).encode()), NOW)
    assert states(taken) == ["refused"]
    assert "no such panel in this plant" in reasons(taken)


# When it was.


def test_a_wrong_clock_is_corrected_told_once_and_never_a_reason_to_refuse(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast)
    outbox, ahead = Outbox(cast), timedelta(hours=3)
    made = NOW - timedelta(minutes=10)
    entry = outbox.entry(at=made + ahead)
    assert states(outbox.send(database, tablet, entry, clock=NOW + ahead)) == ["kept"]
    assert only_reading(database).measured_at == made
    with database.read() as session:
        stored = session.scalars(select(OutboxEntry)).one()
        assert (stored.entered_at, stored.received_at) == (made + ahead, NOW)
    outbox.send(database, tablet, clock=NOW + ahead)
    assert [(facts["minutes"], is_open) for facts, is_open in notices(database, CLOCK)] == [(180, True)]
    outbox.send(database, tablet)
    assert [is_open for _, is_open in notices(database, CLOCK)] == [False]
    outbox.send(database, tablet, clock=NOW - ahead)
    assert [(f["minutes"], is_open) for f, is_open in notices(database, CLOCK)] == [
        (180, False),
        (-180, True),
    ]


def test_a_clock_notice_closed_by_the_lead_is_not_raised_again_until_the_clock_was_right(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox, wrong = Outbox(shop), NOW - timedelta(hours=1)
    outbox.send(sqlite_database, tablet, clock=wrong)
    with sqlite_database.write() as session:
        number = session.scalars(select(Notice.id)).one()
        close_notice(session, shop.person(session, "lead"), number, "Charger ordered.", NOW)
    outbox.send(sqlite_database, tablet, clock=wrong)
    assert len(notices(sqlite_database, CLOCK)) == 1


def test_a_clock_two_minutes_off_is_right_enough_and_nothing_is_measured_after_now(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox, ahead = Outbox(shop), timedelta(minutes=2)
    outbox.send(sqlite_database, tablet, outbox.entry(at=NOW + ahead), clock=NOW + ahead)
    assert only_reading(sqlite_database).measured_at == NOW
    assert notices(sqlite_database, CLOCK) == []


def test_a_clock_that_lost_its_battery_is_corrected_over_decades(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    began = NOW.replace(year=1970)
    outbox.send(sqlite_database, tablet, outbox.entry(at=began - timedelta(minutes=4)), clock=began)
    assert only_reading(sqlite_database).measured_at == NOW - timedelta(minutes=4)


# What is missing.


def test_numbers_that_have_not_come_are_told_the_lowest_first(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entries = [outbox.entry() for _ in range(6)]
    assert outbox.send(database, tablet, entries[1], entries[4]).missing == (1, 3, 4, 6)
    assert outbox.send(database, tablet, *entries).missing == ()
    assert len(outbox.send(database, tablet, written=2**31 - 1).missing) == 50


def test_a_gap_that_stays_is_told_once_and_closes_by_itself_when_it_is_filled(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    one, two, three, four = (outbox.entry() for _ in range(4))
    outbox.send(database, tablet, one, three)
    assert notices(database, GAP) == []
    for _ in range(2):
        outbox.send(database, tablet)
        facts = {"tablet": "Tablet 2", "outbox": str(outbox.number), "numbers": [2]}
        assert notices(database, GAP) == [(facts, True)]
    outbox.send(database, tablet, two, four)
    assert [is_open for _, is_open in notices(database, GAP)] == [False]


def test_more_entries_than_fit_into_a_batch_are_no_gap(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    entries = [outbox.entry(form="undone", content={}) for _ in range(9)]
    for begin in (0, 3, 6):
        outbox.send(sqlite_database, tablet, *entries[begin : begin + 3])
    assert notices(sqlite_database, GAP) == []


def test_an_entry_that_waits_for_a_sign_in_is_no_gap(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    waiting, other = outbox.entry(person=shop.lead), outbox.entry()
    for _ in range(3):
        outbox.send(sqlite_database, tablet, waiting, other)
        # What fits into no batch with the oldest comes in the next one.
        outbox.send(sqlite_database, tablet, outbox.entry())
    assert notices(sqlite_database, GAP) == []


def test_an_emptied_memory_is_told_once(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    before, after = Outbox(cast), Outbox(cast)
    before.send(database, tablet, before.entry(), before.entry(), written=3)
    for _ in range(2):
        after.send(database, tablet, after.entry())
    found = notices(database, MEMORY)
    assert [(facts["received"], facts["written"], is_open) for facts, is_open in found] == [(2, 3, True)]
    with database.read() as session:
        shown = session.get_one(Tablet, tablet)
        assert (shown.outbox, shown.written) == (after.number, after.written)


def test_a_memory_that_held_nothing_may_begin_anew(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    for _ in range(2):
        Outbox(shop).send(sqlite_database, tablet)
    assert notices(sqlite_database, MEMORY) == []


# Corrections.


def corrected(database: Database, cast: Cast, **otherwise: Any) -> tuple[Outbox, int, dict[str, Any]]:
    """A tablet that has sent a reading of 24' 1, and the content that corrects it to 24'."""
    tablet, _ = enrolled(database, cast)
    outbox, wrong = Outbox(cast), reading(length="24' 1")
    outbox.send(database, tablet, outbox.entry(readings(cast, wrong)))
    usual: dict[str, Any] = {"reason": "Misread the tape."}
    right = reading(supersedes=wrong["uuid"], **otherwise.pop("reading", {}))
    return outbox, tablet, readings(cast, right, **(usual | otherwise))


def test_a_correction_keeps_the_first_reading_and_says_why(database: Database, cast: Cast) -> None:
    outbox, tablet, content = corrected(database, cast)
    entry = outbox.entry(content, at=LATER)
    assert states(outbox.send(database, tablet, entry, now=LATER)) == ["kept"]
    with database.read() as session:
        first, second = session.scalars(select(Reading).order_by(Reading.id))
        assert (first.verdict, second.verdict) == ("outside", "within")
        assert (second.supersedes_id, second.reason) == (first.id, "Misread the tape.")
        assert (second.measured_at, second.received_at) == (first.measured_at, LATER)
        events = session.scalars(
            select(Event).where(Event.chain == f"building {cast.building}").order_by(Event.number)
        ).all()
        assert first_break(events) is None
        told, closed = events[-2:]
        assert told.what == "reading corrected"
        assert told.facts["corrects"] == str(first.uuid)
        assert told.facts["reason"] == "Misread the tape."
        assert closed.what == "nonconformity closed"


@pytest.mark.parametrize(
    ("otherwise", "reason"),
    [
        ({"reason": " \n"}, "Say why the reading is corrected"),
        ({"reason": "r" * 1001}, "at most 1000 characters"),
        ({"reading": {"place": "DC"}}, "must be of the same check"),
    ],
)
def test_a_correction_that_cannot_be_is_refused(
    sqlite_database: Database, shop: Cast, otherwise: dict[str, Any], reason: str
) -> None:
    outbox, tablet, content = corrected(sqlite_database, shop, **otherwise)
    taken = outbox.send(sqlite_database, tablet, outbox.entry(content))
    assert states(taken) == ["refused"]
    assert reason in reasons(taken)


def test_a_reading_is_corrected_once_then_its_correction(sqlite_database: Database, shop: Cast) -> None:
    outbox, tablet, content = corrected(sqlite_database, shop)
    outbox.send(sqlite_database, tablet, outbox.entry(content))
    (sent,) = content["readings"]
    again = readings(shop, reading(supersedes=sent["supersedes"]), reason="Once more.")
    taken = outbox.send(sqlite_database, tablet, outbox.entry(again))
    assert "corrected already" in reasons(taken)
    newest = readings(shop, reading(supersedes=sent["uuid"]), reason="Once more.")
    assert states(outbox.send(sqlite_database, tablet, outbox.entry(newest))) == ["kept"]


def test_a_correction_waits_for_what_it_corrects(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox, wrong = Outbox(shop), reading()
    first = outbox.entry(readings(shop, wrong))
    second = outbox.entry(readings(shop, reading(supersedes=wrong["uuid"]), reason="Misread."))
    assert states(outbox.send(sqlite_database, tablet, second)) == ["later"]
    assert states(outbox.send(sqlite_database, tablet, second, first)) == ["kept", "kept"]


# Meanwhile.


def test_readings_after_the_release_are_kept_and_told_to_the_lead(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    with database.write() as session:
        lead = cast.person(session, "lead")
        panel = session.get_one(Panel, cast.panel)
        prove(session, cast, panel, of="panel")
        release(session, lead, panel, NOW)
        before = {str(reading.uuid) for reading in session.scalars(select(Reading))}
    outbox = Outbox(cast)
    taken = outbox.send(database, tablet, outbox.entry(at=NOW - timedelta(hours=1)), now=LATER)
    assert states(taken) == ["kept"]
    # 15:00 UTC is 10:00 in New York in winter.
    assert remarks(taken) == "R-01 was released at 2026-03-02 10:00; the shop lead has been told."
    (facts, is_open), *others = notices(database, AFTER_RELEASE)
    assert (others, is_open, facts["mark"], facts["tablet"]) == ([], True, "R-01", "Tablet 2")
    with database.read() as session:
        (late,) = {str(reading.uuid) for reading in session.scalars(select(Reading))} - before
    assert facts["readings"] == [late]


def test_a_late_reading_outside_flags_the_release_and_names_the_nonconformity(
    database: Database, cast: Cast
) -> None:
    tablet, _ = enrolled(database, cast)
    with database.write() as session:
        panel = session.get_one(Panel, cast.panel)
        prove(session, cast, panel, of="panel")
        release(session, cast.person(session, "lead"), panel, NOW)
    outbox, long = Outbox(cast), reading(length="24' 1")
    taken = outbox.send(database, tablet, outbox.entry(readings(cast, long), at=LATER), now=LATER)
    assert states(taken) == ["kept"]
    assert remarks(taken) == (
        "R-01 was released at 2026-03-02 10:00 and is held now; the shop lead has been told."
    )
    ((facts, is_open),) = notices(database, AFTER_RELEASE)
    assert is_open
    assert facts["nonconformities"] == [1]
    assert facts["held"][0]["facts"] == {"number": 1, "name": "Length of edge, AB"}
    with database.read() as session:
        state = state_of(session, session.get_one(Panel, cast.panel), LATER)
        assert (state.standing, state.is_flagged) == ("released", True)


def test_readings_made_under_another_plan_are_judged_by_the_panels_and_it_is_said(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    taken = outbox.send(sqlite_database, tablet, outbox.entry(readings(shop, plan=99)))
    assert states(taken) == ["kept"]
    assert remarks(taken) == ("The control plan for R-01 changed meanwhile; this was judged by version 1.")
    gone = readings(shop, reading(characteristic="weather"), plan=99)
    taken = outbox.send(sqlite_database, tablet, outbox.entry(gone))
    assert states(taken) == ["refused"]
    assert "weather" in reasons(taken)


def test_a_panel_moved_to_a_newer_plan_is_judged_by_that(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        newer = adopt_plan(session, manager.plant, default_document(), "Yearly review.", manager, NOW)
        session.flush()
        session.get_one(Panel, shop.panel).control_plan_id = newer.id
    outbox = Outbox(shop)
    taken = outbox.send(sqlite_database, tablet, outbox.entry())
    assert remarks(taken).endswith("judged by version 2.")


def test_another_verdict_on_the_tablet_is_told(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    entry = outbox.entry(readings(shop, reading(length="24' 1", verdict="within")))
    assert remarks(outbox.send(sqlite_database, tablet, entry)) == (
        "Length of edge AB: this tablet said within, but by the control plan it is outside."
    )


def test_a_panel_that_waits_elsewhere_by_now_still_takes_the_reading(
    sqlite_database: Database, shop: Cast
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    with sqlite_database.read() as session:
        assert session.get_one(Panel, shop.panel).waiting_at == "framing"
    outbox = Outbox(shop)
    assert states(outbox.send(sqlite_database, tablet, outbox.entry())) == ["kept"]


# Hostile until read.


def body(of: Outbox, otherwise: dict[str, Any]) -> bytes:
    return json.dumps(of.batch() | otherwise).encode()


@pytest.mark.parametrize(
    ("otherwise", "what"),
    [
        ({"outbox": "7"}, "outbox"),
        ({"outbox": None}, "outbox"),
        ({"schema": 2}, "schema"),
        ({"schema": True}, "schema"),
        ({"written": -1}, "written"),
        ({"written": 2**31}, "written"),
        ({"written": 1.0}, "written"),
        ({"entries": {}}, "entries"),
        ({"entries": [{}] * 51}, "entries"),
        ({"entries": [{}]}, "uuid"),
        ({"entries": ["x"]}, "entry"),
    ],
)
def test_a_batch_that_is_none_is_refused_as_a_whole(shop: Cast, otherwise: dict[str, Any], what: str) -> None:
    with pytest.raises(Malformed, match=f"cannot be read: {what} is not"):
        read_batch(body(Outbox(shop), otherwise))


@pytest.mark.parametrize(
    "clock", ["", "now", "2026-03-02T15:00:00", "0001-01-01T00:00:00+00:00", "9999-12-31T23:59:59-12:00"]
)
def test_a_clock_without_an_offset_or_beyond_reason_is_refused(shop: Cast, clock: str) -> None:
    sent = Outbox(shop).batch() | {"clock": clock}
    with pytest.raises(Malformed, match="clock"):
        read_batch(json.dumps(sent).encode())


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"\xff\xfe",
        b"[" * 200_000,
        b'{"a":' * 50_000,
        b'{"schema":' + b"1" * 5000 + b"}",
        b'{"schema":1e999}',
        b"NaN",
        b" " * (LARGEST_BATCH + 1),
    ],
)
def test_no_text_breaks_the_reader(text: bytes) -> None:
    with pytest.raises(Malformed):
        read_batch(text)


DEEP: Any = {}
for _ in range(20):
    DEEP = {"a": DEEP}


@pytest.mark.parametrize(
    ("otherwise", "what"),
    [
        ({"sequence": 0}, "sequence"),
        ({"sequence": 2**31}, "sequence"),
        ({"sequence": "1"}, "sequence"),
        ({"person": None}, "person"),
        ({"person": 2**63}, "person"),
        ({"entered_at": "yesterday"}, "entered_at"),
        ({"form": 5}, "form"),
        ({"content": []}, "content"),
        ({"content": DEEP}, "content"),
    ],
)
def test_an_entry_of_which_only_the_number_can_be_read_is_refused_and_the_rest_taken(
    sqlite_database: Database, shop: Cast, otherwise: dict[str, Any], what: str
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    taken = outbox.send(sqlite_database, tablet, outbox.entry(**otherwise), outbox.entry())
    assert sorted(states(taken)) == ["kept", "refused"]
    assert f"{what} is not as it should be" in reasons(taken)
    assert count(sqlite_database, OutboxEntry) == 1


@pytest.mark.parametrize(
    "content",
    [
        {},
        {"readings": []},
        {"readings": "x"},
        {"readings": [reading()] * 41},
        {"readings": [reading(uuid="x")]},
        {"readings": [reading(entries={"length": 5})]},
        {"readings": [reading(entries={str(n): "" for n in range(21)})]},
        {"readings": [reading(photos=["0" * 64] * 11)]},
        {"readings": [reading(place="P" * 41)]},
        {"readings": [reading(supersedes=7)]},
        {"item": "house"},
        {"id": 10**30},
        {"id": 2**62},
        {"plan": None},
        {"station": "nowhere"},
        {"station": "fi\0ll"},
        {"instruments": [True]},
        {"instruments": [10**12]},
        {"instruments": []},
        {"note": "n" * 1001},
        {"note": {"a": 1}},
        {"readings": [reading(length="1" * 201)]},
    ],
)
def test_content_that_is_not_as_it_should_be_is_refused_and_kept_with_its_answer(
    database: Database, cast: Cast, content: dict[str, Any]
) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry(readings(cast) | content if content else {})
    taken = outbox.send(database, tablet, entry)
    assert states(taken) == ["refused"]
    assert reasons(taken).endswith(".")
    assert count(database, Reading) == 0
    with database.read() as session:
        stored = session.scalars(select(OutboxEntry)).one()
        assert (stored.kept, stored.content) == (False, entry["content"])
    assert outbox.send(database, tablet, entry, now=LATER).answers == taken.answers


def test_an_unknown_form_is_refused(sqlite_database: Database, shop: Cast) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox = Outbox(shop)
    taken = outbox.send(sqlite_database, tablet, outbox.entry(form="weather", content={}))
    assert (states(taken), reasons(taken)) == (["refused"], "There is no form “weather”.")


def test_characters_that_no_database_keeps_are_replaced(database: Database, cast: Cast) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    entry = outbox.entry(readings(cast, note="wet\0 edge \ud800"))
    assert states(outbox.send(database, tablet, entry)) == ["kept"]
    assert only_reading(database).note == "wet\N{REPLACEMENT CHARACTER} edge \N{REPLACEMENT CHARACTER}"


# By file.


def file_of(outbox: Outbox, of: int | None, *entries: dict[str, Any], **otherwise: Any) -> bytes:
    usual: dict[str, Any] = {
        "log": "qc",
        "outbox": str(outbox.number),
        "tablet": of,
        "written": outbox.written,
        "exported_at": NOW.isoformat(),
        "entries": list(entries),
        "photos": {},
    }
    return json.dumps(usual | otherwise).encode()


def test_a_file_brings_entries_photos_and_fills_gaps(database: Database, cast: Cast, tmp_path: Path) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    photo = name_of(jpeg())
    one, two = outbox.entry(readings(cast, reading(photos=[photo]))), outbox.entry()
    for entries in ([two], []):
        outbox.send(database, tablet, *entries)
    assert [is_open for _, is_open in notices(database, GAP)] == [True]
    photos = {photo: base64.b64encode(jpeg()).decode()}
    file = read_file(file_of(outbox, tablet, one, two, photos=photos))
    taken = take_file(database, PhotoStore(tmp_path / "photos"), cast.lead, file, LATER)
    assert states(taken) == ["kept", "kept"]
    assert [is_open for _, is_open in notices(database, GAP)] == [False]
    with database.read() as session:
        kept = session.scalars(select(Reading)).all()
        assert {(r.person_id, r.tablet_id) for r in kept} == {(cast.worker, tablet)}
        event = session.scalars(select(Event).where(Event.what == "outbox file taken in")).one()
        assert (event.person_id, event.facts["kept"]) == (cast.lead, 2)


def test_a_worker_hands_in_no_file_and_no_plant_anothers(
    sqlite_database: Database, shop: Cast, tmp_path: Path
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    outbox, store = Outbox(shop), PhotoStore(tmp_path)
    file = read_file(file_of(outbox, tablet, outbox.entry()))
    with pytest.raises(NotAllowed):
        take_file(sqlite_database, store, shop.worker, file, NOW)
    with pytest.raises(find.NotFound):
        take_file(sqlite_database, store, shop.stranger, file, NOW)
    assert count(sqlite_database, OutboxEntry) == 0


@pytest.mark.parametrize(
    "otherwise",
    [
        {"log": "other"},
        {"tablet": "x"},
        {"exported_at": None},
        {"photos": []},
        {"photos": {"a": "not base64!"}},
        {"entries": [{}]},
    ],
)
def test_what_is_no_file_of_an_outbox_is_refused(shop: Cast, otherwise: dict[str, Any]) -> None:
    with pytest.raises(Malformed):
        read_file(file_of(Outbox(shop), None, **otherwise))
