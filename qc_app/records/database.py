"""Opening the database: SQLite by default, PostgreSQL by URL; sessions that read and sessions that write."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic, sleep

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.orm import Session

from qc_app.records import (  # noqa: F401 (tables register themselves)
    building,
    chart,
    control_plan,
    hold,
    instrument_check,
    material,
    nonconformity,
    photo,
    reading,
    release,
    shop,
    tablet,
    upload,
)
from qc_app.records import event as _event  # noqa: F401
from qc_app.refusal import Refusal

MIGRATIONS = Path(__file__).with_name("migrations")
BUSY_TIMEOUT_SECONDS = 15
WRITE_LOCK = 7_316_200_015
"""Number of the advisory lock that writers take on PostgreSQL; any that nothing else there uses."""


class Database:
    """An opened database. ``read`` and ``write`` give sessions; a write commits whole or not at all."""

    def __init__(self, url: str | URL) -> None:
        self.engine = _engine(url)
        self._writing = self.engine.execution_options(writes=True)
        self._still = self.engine.execution_options(still=True)

    @contextmanager
    def read(self) -> Iterator[Session]:
        """A session for looking; whatever it changed is dropped."""
        with Session(self.engine) as session:
            yield session

    @contextmanager
    def snapshot(self) -> Iterator[Session]:
        """A session for looking that sees one moment of the database, whatever others write meanwhile."""
        with Session(self._still) as session:
            yield session

    def is_up_to_date(self) -> bool:
        """Whether the tables are those of this version of the program."""
        with self.engine.connect() as connection:
            newest = ScriptDirectory.from_config(alembic_config(connection)).get_current_head()
            return MigrationContext.configure(connection).get_current_revision() == newest

    @contextmanager
    def write(self) -> Iterator[Session]:
        """A session that commits at the end, or rolls back if the work inside raises.

        It takes a lock at the start, so writers queue instead of failing half-way, and each sees all that the
        one before it wrote.
        """
        with Session(self._writing) as session, session.begin():
            yield session

    def migrate(self) -> None:
        """Brings the tables up to this version of the program."""
        with self._writing.begin() as connection:
            command.upgrade(alembic_config(connection), "head")

    def close(self) -> None:
        self.engine.dispose()


def database_url(where: str) -> URL:
    """A URL from what was given: a database URL, or the path of an SQLite file.

    Raises
    ------
    Refusal
        If it is a URL of another kind of database.
    """
    if "://" not in where:
        return URL.create("sqlite", database=str(Path(where).expanduser().resolve()))
    url = make_url(where)
    if url.get_backend_name() not in ("sqlite", "postgresql"):
        raise Refusal("The database can be SQLite or PostgreSQL, not {given}.", given=url.get_backend_name())
    return url.set(drivername="postgresql+psycopg") if url.get_backend_name() == "postgresql" else url


def alembic_config(connection: Connection) -> Config:
    """What Alembic needs to know to work on an open connection."""
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS))
    config.attributes["connection"] = connection
    return config


def _engine(url: str | URL) -> Engine:
    address = database_url(url) if isinstance(url, str) else url
    if address.get_backend_name() == "postgresql":
        engine = create_engine(address, pool_pre_ping=True)
        event.listen(engine, "begin", _begin_postgresql)
        return engine
    engine = create_engine(address, connect_args={"timeout": BUSY_TIMEOUT_SECONDS})
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    # The driver would otherwise begin transactions by itself, and later than the first read.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    _keep_a_log_ahead(connection)
    connection.execute("PRAGMA synchronous = FULL")
    # By itself SQLite knows capitals from A to Z only.
    connection.create_function("lower", 1, _in_small_letters, deterministic=True)


def _keep_a_log_ahead(connection: sqlite3.Connection) -> None:
    """Switches to write-ahead logging. SQLite does not wait by itself while another program switches too."""
    give_up_at = monotonic() + BUSY_TIMEOUT_SECONDS
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or monotonic() > give_up_at:
                raise
            sleep(0.01)
        else:
            return


def _in_small_letters(text: str | None) -> str | None:
    return text if text is None else text.lower()


def _begin_sqlite(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _begin_postgresql(connection: Connection) -> None:
    if connection.get_execution_options().get("still", False):
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
    if connection.get_execution_options().get("writes", False):
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = '{BUSY_TIMEOUT_SECONDS}s'")
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")
