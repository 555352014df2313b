"""Checking the record: whoever changes the database by hand is told on, with the place."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from sqlalchemy import JSON, Connection, delete, insert, select, text, update
from sqlalchemy import Table as CoreTable
from sqlalchemy.exc import DBAPIError, InternalError
from sqlalchemy.orm import Session
from sqlalchemy.types import TypeEngine

from qc_app.cli import main
from qc_app.records.control_plan import ControlPlan
from qc_app.records.database import Database
from qc_app.records.event import Event, append_event
from qc_app.records.photo import Photo
from qc_app.records.photo_store import PhotoStore
from qc_app.records.reading import Reading
from qc_app.records.schema import Table, UtcTime
from qc_app.records.shop import Plant
from qc_app.refusal import Refusal
from qc_app.work.check_record import Head, Result, check_record, read_anchor, write_anchor
from qc_app.work.record import record
from tests.conftest import NOW, Cast, stage
from tests.work.conftest import Said, member

APPEND_ONLY = (
    "disposition",
    "event",
    "instrument_check",
    "lot_use",
    "outbox_entry",
    "passage",
    "reading",
    "reading_instrument",
    "reading_photo",
    "release",
    "release_withdrawal",
)


def open_to_tampering(session: Session, table: str) -> None:
    """Takes away what guards a table, as somebody with the database in hand could."""
    if session.get_bind().dialect.name == "sqlite":
        for change in ("update", "delete"):
            session.execute(text(f"DROP TRIGGER IF EXISTS {table}_refuses_{change}"))
    else:
        session.execute(text(f"ALTER TABLE {table} DISABLE TRIGGER ALL"))


@pytest.fixture
def measured(database: Database, cast: Cast) -> UUID:
    """The shop after a reading of a length, a correction of it, another reading, and a member of a lot."""
    first = Said()
    with database.write() as session:
        first.record(session, cast)
    with database.write() as session:
        Said(place="DC", note="after planing").record(session, cast)
        member(1).record(session, cast)
        correct(session, cast, first)
    return first.uuid


def correct(session: Session, cast: Cast, said: Said) -> None:
    new = said.new(session, cast)
    again = type(new)(**{**vars(new), "uuid": uuid4(), "supersedes": said.uuid, "reason": "Misread."})
    record(session, cast.person(session, "worker"), again, NOW)


def result_of(database: Database, anchor: dict[str, Head] | None = None) -> Result:
    with database.snapshot() as session:
        return check_record(session, PhotoStore(None), anchor or {}, lambda _chain, _events: None)


def findings(database: Database) -> list[str]:
    return result_of(database).findings


def tamper(database: Database, table: str, change: Callable[[Session], object]) -> list[str]:
    """What the check finds after somebody changed a table by hand."""
    with database.write() as session:
        open_to_tampering(session, table)
        change(session)
    return findings(database)


def event_about(session: Session, uuid: UUID) -> Event:
    events = session.scalars(select(Event).where(Event.what == "reading recorded").order_by(Event.id))
    return next(event for event in events if event.facts["reading"] == str(uuid))


def test_a_record_as_written_is_whole(database: Database, measured: UUID) -> None:
    result = result_of(database)
    assert result.findings == []
    with database.read() as session:
        assert result.events == len(session.scalars(select(Event.id)).all())
        heads = {(e.chain, e.number, e.hash) for e in session.scalars(select(Event))}
        assert {(chain, head.number, head.hash) for chain, head in result.heads.items()} <= heads


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"what": "panel scheduled"}, "what it says does not give its hash"),
        ({"facts": {"mark": "R-99"}}, "what it says does not give its hash"),
        ({"person_id": None}, "what it says does not give its hash"),
        ({"previous_hash": "1" * 64}, "it does not hold the hash of the event before it"),
        ({"number": 99}, "number 3 is missing before it"),
    ],
)
def test_a_changed_event_is_named_with_what_differs(
    database: Database, cast: Cast, measured: UUID, change: dict[str, object], told: str
) -> None:
    def by_hand(session: Session) -> None:
        event = event_about(session, measured)
        assert (event.chain, event.number) == (f"building {cast.building}", 3)
        session.execute(update(Event).where(Event.id == event.id).values(**change))

    found = [f for f in tamper(database, "event", by_hand) if "hash" in f or "missing before" in f]
    at = 4 if "number" in change else change.get("number", 3)
    assert found[0].startswith(f"building H1, event {at} (02 Mar 2026 15:00:00 UTC, ")
    assert told in found[0]
    assert len(found) == 1


def test_an_event_taken_out_is_named_by_the_one_after_it(database: Database, measured: UUID) -> None:
    found = tamper(
        database,
        "event",
        lambda s: s.execute(delete(Event).where(Event.what == "panel scheduled", Event.number == 2)),
    )
    assert found == [
        "building H1, event 3 (02 Mar 2026 15:00:00 UTC, reading recorded): number 2 is missing before it."
    ]


def test_two_events_swapped_are_named_at_the_first(database: Database, cast: Cast, measured: UUID) -> None:
    def swap(session: Session) -> None:
        of_building = Event.chain == f"building {cast.building}"
        for number, to in ((3, 1003), (4, 3), (1003, 4)):
            session.execute(update(Event).where(of_building, Event.number == number).values(number=to))

    found = tamper(database, "event", swap)
    assert "event 3 " in found[0]
    assert "does not hold the hash of the event before it" in found[0]


def test_an_event_put_in_with_a_hash_of_its_own_breaks_the_next(
    database: Database, cast: Cast, measured: UUID
) -> None:
    def put_in(session: Session) -> None:
        of_building = Event.chain == f"building {cast.building}"
        late = session.scalars(select(Event).where(of_building).order_by(Event.number.desc())).all()
        for event in late[:-2]:
            session.execute(update(Event).where(Event.id == event.id).values(number=event.number + 1))
        before = late[-2]
        forged = Event(
            chain=before.chain, number=3, at=NOW, what="noted", facts={}, previous_hash=before.hash
        )
        forged.hash = forged.expected_hash()
        session.add(forged)

    found = tamper(database, "event", put_in)
    assert found[0].startswith("building H1, event 4 ")
    assert "does not hold the hash" in found[0]


def test_an_event_nobody_can_read_is_named(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    spoil = text("UPDATE event SET facts = 'sawdust' WHERE number = 2 AND chain = :chain")
    found = tamper(
        sqlite_database, "event", lambda s: s.execute(spoil, {"chain": f"building {cast.building}"})
    )
    assert found[0].startswith("building H1: what follows event ")
    assert "cannot be read" in found[0]


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"amount": 1}, "amount"),
        ({"verdict": "outside"}, "verdict"),
        ({"entries": {"length": "25'"}}, "entries"),
        ({"place": "BC"}, "place"),
        ({"reason": "No reason."}, "reason"),
        ({"measured_at": NOW.replace(hour=3)}, "time"),
    ],
)
def test_a_reading_changed_by_hand_is_named_with_the_event_that_tells_otherwise(
    database: Database, measured: UUID, change: dict[str, object], field: str
) -> None:
    found = tamper(
        database,
        "reading",
        lambda s: s.execute(update(Reading).where(Reading.uuid == measured).values(**change)),
    )
    assert len(found) == 1
    assert found[0].startswith("building H1, event 3 (02 Mar 2026 15:00:00 UTC, reading recorded): ")
    assert f"reading {measured} has another {field}: " in found[0]


def test_a_reading_given_to_somebody_else_is_named(database: Database, cast: Cast, measured: UUID) -> None:
    give = update(Reading).where(Reading.uuid == measured).values(person_id=cast.lead)
    assert "another person" in tamper(database, "reading", lambda s: s.execute(give))[0]


def test_a_reading_taken_out_leaves_an_event_without_it(
    database: Database, cast: Cast, measured: UUID
) -> None:
    def take_out(session: Session) -> None:
        reading = session.scalars(select(Reading).where(Reading.place == "DC")).one()
        for table in ("reading_instrument", "signal", "point", "reading"):
            open_to_tampering(session, table)
        if session.get_bind().dialect.name == "sqlite":
            session.execute(text("PRAGMA defer_foreign_keys = ON"))
        session.execute(text("DELETE FROM signal"))
        session.execute(text("DELETE FROM point"))
        this = {"id": reading.id}
        session.execute(text("DELETE FROM reading_instrument WHERE reading_id = :id"), this)
        session.execute(text("DELETE FROM reading WHERE id = :id"), this)

    found = tamper(database, "reading", take_out)
    assert len(found) == 1
    assert found[0].startswith("building H1, event 4 ")
    assert found[0].endswith("that it tells of is not in the table.")


def test_a_reading_put_in_by_hand_has_no_event(database: Database, measured: UUID) -> None:
    uuid = uuid4()

    def put_in(session: Session) -> None:
        old = session.scalars(select(Reading).where(Reading.uuid == measured)).one()
        columns = {c.key: getattr(old, c.key) for c in Reading.__table__.columns if c.key != "id"}
        session.execute(insert(Reading).values(**{**columns, "uuid": uuid}))

    assert tamper(database, "reading", put_in) == [
        f"building H1: no event tells of the reading {uuid} (edge_length AB of R-01)."
    ]


def test_a_plan_changed_after_it_was_adopted_is_named(database: Database, cast: Cast) -> None:
    def loosen(session: Session) -> None:
        plan = session.scalars(select(ControlPlan).order_by(ControlPlan.id)).first()
        assert plan is not None
        session.execute(
            update(ControlPlan).where(ControlPlan.id == plan.id).values(document=plan.document + "\n")
        )

    found = tamper(database, "control_plan", loosen)
    assert len(found) == 1
    assert found[0].startswith("plant Plumb & Larch Panel Works, event ")
    assert found[0].endswith("the document of version 1 of the control plan is not the one adopted.")


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

    assert tamper(sqlite_database, "control_plan", put_in) == [
        "plant Plumb & Larch Panel Works: no event tells of version 7 of the control plan."
    ]


def test_events_of_a_building_that_is_not_there_are_named(sqlite_database: Database) -> None:
    stage(sqlite_database)
    with sqlite_database.write() as session:
        forged = Event(chain="building 99", number=1, at=NOW, what="noted", facts={}, previous_hash="0" * 64)
        forged.hash = forged.expected_hash()
        session.add(forged)
    assert findings(sqlite_database) == ["chain “building 99”: there is no such building or plant."]


def test_a_photo_missing_or_changed_in_the_folder_is_named(sqlite_database: Database, tmp_path: Path) -> None:
    cast = stage(sqlite_database)
    store = PhotoStore(tmp_path / "photos")
    names = [store.write(content) for content in (b"whole", b"changed", b"gone")]
    with sqlite_database.write() as session:
        plant = cast.person(session, "worker").plant_id
        for name in names:
            session.add(
                Photo(
                    sha256=name,
                    plant_id=plant,
                    media_type="image/jpeg",
                    size=5,
                    width=1,
                    height=1,
                    person_id=cast.worker,
                    received_at=NOW,
                )
            )
    place = {name: tmp_path / "photos" / name[:2] / name[2:] for name in names}
    place[names[1]].write_bytes(b"other")
    place[names[2]].unlink()
    with sqlite_database.snapshot() as session:
        found = check_record(session, store, {}, lambda _chain, _events: None).findings
    assert len(found) == 2
    assert any(f.startswith(f"photo {names[1]}: This photo was damaged") for f in found)
    assert any(f.startswith(f"photo {names[2]}: This photo is missing") for f in found)


def test_a_tail_cut_off_shows_only_against_an_anchor(database: Database, measured: UUID) -> None:
    anchor = dict(result_of(database).heads)

    def cut(session: Session) -> None:
        last = session.scalars(select(Event).where(Event.what == "panel scheduled")).first()
        assert last is not None
        session.execute(delete(Event).where(Event.chain == last.chain, Event.number > 2))

    found = tamper(database, "event", cut)
    assert found
    assert all("no event tells of the reading" in finding for finding in found)
    assert any(
        "it ends at event 2; the anchor knows of event 5" in f for f in result_of(database, anchor).findings
    )


def test_a_chain_rewritten_from_its_beginning_shows_only_against_an_anchor(
    database: Database, cast: Cast, measured: UUID
) -> None:
    anchor = dict(result_of(database).heads)

    def rewrite(session: Session) -> None:
        of_building = select(Event).where(Event.chain == f"building {cast.building}").order_by(Event.number)
        previous = "0" * 64
        for event in session.scalars(of_building).all():
            event.previous_hash = previous
            event.what = "panel planned" if event.what == "panel scheduled" else event.what
            event.hash = previous = event.expected_hash()

    assert tamper(database, "event", rewrite) == []
    found = result_of(database, anchor).findings
    assert len(found) == 1
    assert found[0].startswith("building H1, event 5 ")
    assert found[0].endswith("the anchor holds another hash for it.")


def test_a_chain_wholly_gone_shows_against_an_anchor(sqlite_database: Database) -> None:
    stage(sqlite_database)
    anchor = {**result_of(sqlite_database).heads, "building 77": Head(4, "a" * 64)}
    assert result_of(sqlite_database, anchor).findings == [
        "building 77: the anchor knows this chain; the database has no event of it."
    ]


def test_an_anchor_reads_back_as_written(tmp_path: Path) -> None:
    heads = {"building 3": Head(41, "ab" * 32), "plant 1": Head(7, "cd" * 32)}
    write_anchor(tmp_path / "heads.json", heads)
    assert read_anchor(tmp_path / "heads.json") == heads
    assert read_anchor(tmp_path / "none.json") == {}


@pytest.mark.parametrize("content", ["sawdust", "[]", '{"building 3": 4}', '{"building 3": {"number": "x"}}'])
def test_a_file_that_is_no_anchor_is_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / "heads.json").write_text(content, "utf-8")
    with pytest.raises(Refusal, match="holds no hashes of chains"):
        read_anchor(tmp_path / "heads.json")


def test_a_snapshot_sees_one_moment_while_others_write(
    database: Database, cast: Cast, measured: UUID
) -> None:
    with database.snapshot() as still:
        before = len(still.scalars(select(Event.id)).all())
        with database.write() as session:
            Said(place="DC").record(session, cast)
        assert len(still.scalars(select(Event.id)).all()) == before
        assert check_record(still, PhotoStore(None), {}, lambda _c, _e: None).findings == []


def test_a_snapshot_on_postgresql_cannot_write(database: Database, cast: Cast) -> None:
    if database.engine.dialect.name == "sqlite":
        return  # there the one who looks simply never writes
    with database.snapshot() as session, pytest.raises((DBAPIError, InternalError), match="read-only"):
        session.execute(text("UPDATE plant SET name = 'Other'"))


@pytest.mark.parametrize("change", ["UPDATE {table} SET {column} = {column}", "DELETE FROM {table}"])
@pytest.mark.parametrize("table", APPEND_ONLY)
def test_the_database_itself_refuses_to_change_what_is_append_only(
    database: Database, table: str, change: str
) -> None:
    known = Table.metadata.tables[table]
    column = known.columns.keys()[0]
    with database.engine.connect() as connection:
        put_in_a_row(connection, known)
        with pytest.raises(DBAPIError, match=f"{table} is append-only"):
            connection.execute(text(change.format(table=table, column=column)))


def put_in_a_row(connection: Connection, table: CoreTable) -> None:
    """A row of nothing much, since a trigger on SQLite asks about rows; on PostgreSQL it needs none."""
    if connection.dialect.name != "sqlite":
        return
    connection.execute(text("PRAGMA defer_foreign_keys = ON"))
    connection.execute(text("PRAGMA ignore_check_constraints = ON"))
    connection.execute(insert(table).values({c.name: nothing_much(c.type) for c in table.columns}))


def nothing_much(kind: TypeEngine[Any]) -> object:
    if isinstance(kind, UtcTime):
        return NOW
    if isinstance(kind, JSON):
        return {}
    return {int: 1, str: "x", bool: True, UUID: UUID(int=1)}[kind.python_type]


def test_the_terminal_says_that_all_is_whole_and_keeps_the_anchor(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, anchor = tmp_path / "qc.db", tmp_path / "heads.json"
    database = Database(str(path))
    database.migrate()
    cast = stage(database)
    with database.write() as session:
        Said().record(session, cast)
    arguments = ["check", "--database", str(path), "--anchor", str(anchor)]
    database.close()
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    assert main(arguments) == 0
    assert capsys.readouterr().out.startswith("The record is whole: ")
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    assert json.loads(anchor.read_text("utf-8"))[f"building {cast.building}"]["number"] == 3
    cut = Database(str(path))
    with cut.write() as session:
        open_to_tampering(session, "event")
        session.execute(text("DELETE FROM event WHERE chain LIKE 'building%' AND number = 3"))
    cut.close()
    assert main(arguments) == 1
    assert "it ends at event 2; the anchor knows of event 3." in capsys.readouterr().out
    assert json.loads(anchor.read_text("utf-8"))[f"building {cast.building}"]["number"] == 3


def test_the_terminal_refuses_a_database_that_is_not_there_or_not_migrated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = tmp_path / "none.db"
    assert main(["check", "--database", str(missing)]) == 2
    assert not missing.exists()
    assert "There is no database" in capsys.readouterr().err
    (tmp_path / "empty.db").touch()
    assert main(["check", "--database", str(tmp_path / "empty.db")]) == 2
    assert "Run qc-app migrate first" in capsys.readouterr().err


def test_every_append_only_table_of_the_program_is_in_the_list(database: Database) -> None:
    query = (
        "SELECT DISTINCT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%refuses%'"
        if database.engine.dialect.name == "sqlite"
        else "SELECT DISTINCT event_object_table FROM information_schema.triggers "
        "WHERE trigger_name LIKE '%refuses%'"
    )
    with database.read() as session:
        guarded = set(session.scalars(text(query)))
    assert guarded == set(APPEND_ONLY)
    assert guarded <= set(Table.metadata.tables)
