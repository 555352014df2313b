"""The tables, what they hold exactly, and what they refuse."""

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from threading import Barrier, Thread
from uuid import uuid4

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import select, text
from sqlalchemy.exc import DBAPIError, IntegrityError, StatementError
from sqlalchemy.orm import Session

from qc_app.records.building import Bay, Building, Panel
from qc_app.records.database import Database, database_url
from qc_app.records.reading import Reading
from qc_app.records.schema import Table
from qc_app.records.shop import FailedSignIn, Person, Plant
from qc_app.refusal import Refusal
from tests.conftest import NOW, Cast, feet, panel_of
from tests.records.conftest import reading_of


def test_the_migrations_make_the_tables_that_the_program_knows(database: Database) -> None:
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Table.metadata) == []


def test_a_missing_index_or_column_would_be_seen(sqlite_database: Database) -> None:
    with sqlite_database.engine.begin() as connection:
        connection.execute(text("DROP INDEX ix_panel_waiting"))
        connection.execute(text("ALTER TABLE person DROP COLUMN active"))
        differences = str(compare_metadata(MigrationContext.configure(connection), Table.metadata))
    assert "ix_panel_waiting" in differences
    assert "'active'" in differences


def test_migrating_again_changes_nothing(database: Database, cast: Cast) -> None:
    database.migrate()
    with database.read() as session:
        assert panel_of(session, cast).mark == "R-01"


def test_two_programs_that_start_at_once_migrate_once(tmp_path: Path) -> None:
    started, failures = Barrier(2), []

    def start() -> None:
        opened = Database(str(tmp_path / "new.db"))
        started.wait()
        try:
            opened.migrate()
        except Exception as error:
            failures.append(error)
        opened.close()

    threads = [Thread(target=start) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []


def test_sqlite_syncs_before_it_says_so_and_minds_foreign_keys(sqlite_database: Database) -> None:
    with sqlite_database.engine.connect() as connection:
        pragmas = {
            name: connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}  # 2 is FULL


def test_a_time_comes_back_in_utc_whatever_its_zone(database: Database, cast: Cast) -> None:
    here = datetime(2026, 3, 2, 10, 0, 0, 123456, tzinfo=timezone(timedelta(hours=-5)))
    with database.write() as session:
        session.add(FailedSignIn(sign_in_name="wren", address="::1", at=here))
    with database.read() as session:
        at = session.scalars(select(FailedSignIn.at)).one()
    assert at == here
    assert at.tzinfo is UTC
    assert at.isoformat() == "2026-03-02T15:00:00.123456+00:00"


def test_times_are_compared_in_utc(database: Database, cast: Cast) -> None:
    with database.write() as session:
        session.add(FailedSignIn(sign_in_name="wren", address="::1", at=NOW))
    east = timezone(timedelta(hours=9))
    with database.read() as session:
        later = select(FailedSignIn).where(FailedSignIn.at > (NOW + timedelta(seconds=1)).astimezone(east))
        earlier = select(FailedSignIn).where(FailedSignIn.at > (NOW - timedelta(seconds=1)).astimezone(east))
        assert session.scalars(later).all() == []
        assert len(session.scalars(earlier).all()) == 1


def test_a_time_without_a_zone_is_refused(database: Database) -> None:
    with pytest.raises(StatementError, match="without a zone"), database.write() as session:
        session.add(FailedSignIn(sign_in_name="wren", address="::1", at=NOW.replace(tzinfo=None)))


def test_lengths_come_back_to_the_nanometre(database: Database, cast: Cast) -> None:
    # A float of 53 bits could not hold the second one, nor a 32-bit column any of them.
    exact = {1: 396_875, 2: 2**53 + 1, 3: 7_315_200_001}
    with database.write() as session:
        session.add_all(
            Bay(panel_id=cast.floor_panel, number=number, width=size, depth=size)
            for number, size in exact.items()
        )
    with database.read() as session:
        found = session.scalars(select(Bay).where(Bay.panel_id == cast.floor_panel))
        assert {bay.number: bay.width for bay in found} == exact
        assert panel_of(session, cast).length == feet(24) == 7_315_200_000


def test_a_reading_has_a_number_of_its_own(database: Database, cast: Cast) -> None:
    uuid = uuid4()
    with database.write() as session:
        session.add(reading_of(session, cast, uuid=uuid))
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(reading_of(session, cast, uuid=uuid))


def test_a_mark_names_one_panel_of_a_building(database: Database, cast: Cast) -> None:
    with database.write() as session:
        other = Building(plant_id=panel_of(session, cast).building.plant_id, code="H2", name="Other")
        session.add(other)
        session.flush()
        session.add(copy_of(panel_of(session, cast), other.id))
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(copy_of(panel_of(session, cast), cast.building))


def copy_of(panel: Panel, building_id: int) -> Panel:
    same = ("control_plan_id", "mark", "kind", "length", "width", "depth", "run", "position")
    kept = {name: getattr(panel, name) for name in same}
    return Panel(building_id=building_id, raising_sequence=1, waiting_at=None, **kept)


@pytest.mark.parametrize("of", [("panel", "lot"), ()])
def test_a_reading_is_of_a_panel_or_of_a_lot(database: Database, cast: Cast, of: tuple[str, ...]) -> None:
    with pytest.raises(IntegrityError, match="panel_or_lot"), database.write() as session:
        session.add(
            reading_of(session, cast, **{"panel_id": None} | {f"{o}_id": getattr(cast, o) for o in of})
        )


def test_a_size_of_nothing_is_refused(database: Database, cast: Cast) -> None:
    with pytest.raises(IntegrityError, match="sizes_positive"), database.write() as session:
        panel_of(session, cast).width = 0


def test_nobody_can_be_named_who_is_not_there(database: Database, cast: Cast) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(reading_of(session, cast, person_id=999_999))


def test_the_database_itself_refuses_to_change_the_record(database: Database, recorded: Cast) -> None:
    changes = {
        "reading": [
            "UPDATE reading SET amount = 0",
            "UPDATE reading SET note = 'fine'",
            "DELETE FROM reading",
        ],
        "event": ["UPDATE event SET what = 'nothing'", "DELETE FROM event"],
        "reading_instrument": [
            "UPDATE reading_instrument SET instrument_id = 2",
            "DELETE FROM reading_instrument",
        ],
    }
    for table, statements in changes.items():
        for statement in statements:
            with pytest.raises(DBAPIError, match=f"{table} is append-only"), database.write() as session:
                session.execute(text(statement))
    with database.read() as session:
        reading = session.scalars(select(Reading)).one()
        assert (reading.amount, reading.note) == (feet(24), "")
        assert [instrument.name for instrument in reading.instruments] == ["Tape 4"]


def test_work_that_fails_half_way_leaves_nothing(database: Database, cast: Cast) -> None:
    class Stumble(Exception):
        pass

    def stumble(session: Session) -> None:
        session.add(reading_of(session, cast))
        panel_of(session, cast).waiting_at = "final"
        session.flush()
        raise Stumble

    with pytest.raises(Stumble), database.write() as session:
        stumble(session)
    with database.read() as session:
        assert session.scalars(select(Reading)).all() == []
        assert panel_of(session, cast).waiting_at == "framing"


def test_a_session_for_looking_changes_nothing(database: Database, cast: Cast) -> None:
    with database.read() as session:
        panel_of(session, cast).waiting_at = "final"
        session.flush()
    with database.read() as session:
        assert panel_of(session, cast).waiting_at == "framing"


def test_small_letters_are_the_same_everywhere(sqlite_database: Database) -> None:
    with sqlite_database.read() as session:
        assert session.scalar(text("SELECT lower('ÄØ-1')")) == "äø-1"
        assert session.scalar(text("SELECT lower(NULL)")) is None


@pytest.mark.parametrize("where", ["mysql://localhost/qc", "oracle://localhost/qc"])
def test_another_kind_of_database_is_refused_by_name(where: str) -> None:
    with pytest.raises(Refusal, match=f"SQLite or PostgreSQL, not {where.partition(':')[0]}"):
        database_url(where)


def test_a_path_is_an_sqlite_file_and_a_url_is_what_it_says(tmp_path: Path) -> None:
    assert database_url(str(tmp_path / "qc.db")).database == str((tmp_path / "qc.db").resolve())
    assert database_url("postgresql://qc@localhost/log").drivername == "postgresql+psycopg"


def test_a_person_is_never_deleted_while_readings_name_them(database: Database, recorded: Cast) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.delete(session.get_one(Person, recorded.worker))
    with database.read() as session:
        assert session.get(Person, recorded.worker) is not None


def test_two_plants_may_not_share_a_name(database: Database, cast: Cast) -> None:
    with pytest.raises(IntegrityError), database.write() as session:
        session.add(Plant(name="Faraway Frames", system="metric", denominator=16, time_zone="UTC"))
