"""Databases of both kinds, and a small cast in two plants."""

import os
import pwd
import shutil
import signal
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from time import monotonic, sleep
from uuid import uuid4

import pytest
from flask import Flask
from hypothesis import HealthCheck, settings
from jinja2 import FileSystemBytecodeCache
from sqlalchemy import create_engine, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import OperationalError
from sqlalchemy.orm import Session

from qc_app.measure.length import parse_length
from qc_app.plan.subject import Bay
from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.shop import Person
from qc_app.work import find, people
from qc_app.work.instruments import add_instrument
from qc_app.work.people import add_person, enrol
from qc_app.work.roles import Role
from qc_app.work.schedule import NewPanel, add_building, add_panel, book_in_lot
from qc_app.work.setup import add_plant, adopt_plan, default_document, set_up
from tests.ports import free_port

NOW = datetime(2026, 3, 2, 15, 0, tzinfo=UTC)
PASSWORD = "larch and plumb line"  # noqa: S105

# How long an example takes says how busy the machine is, and nothing about the program.
settings.register_profile("patient", settings(), deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("patient")


@pytest.fixture(scope="session", autouse=True)
def compiled_templates(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Every program that a test makes finds its templates compiled, once any other has needed them."""
    folder = tmp_path_factory.mktemp("templates")
    Flask.jinja_options = {"bytecode_cache": FileSystemBytecodeCache(str(folder))}


POSTGRESQL_FOLDERS = ("/usr/lib/postgresql/*/bin", "/usr/local/bin", "/opt/homebrew/bin")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Three processes for two processors: tests in a browser wait about half of their time."""
    return max(1, (os.cpu_count() or 1) * 3 // 2)


def _postgresql_program(name: str) -> str | None:
    found = [p for folder in POSTGRESQL_FOLDERS for p in sorted(Path("/").glob(f"{folder[1:]}/{name}"))]
    return str(found[-1]) if found else shutil.which(name)


@pytest.fixture(scope="session", autouse=True)
def _cheap_passwords() -> Iterator[None]:
    """Hashes passwords at the least cost, so that a shop of five is set up in no time."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(people, "HASHING_COST", (1, 8, 1))
        people.password_hasher.cache_clear()
        yield
    people.password_hasher.cache_clear()


@pytest.fixture(scope="session")
def postgresql(worker_id: str) -> Iterator[URL]:
    """A private PostgreSQL server on loopback, gone after the tests."""
    initdb, server = _postgresql_program("initdb"), _postgresql_program("postgres")
    if initdb is None or server is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is not installed; its tests may not be left out here")
        pytest.skip("PostgreSQL is not installed on this machine")
    with tempfile.TemporaryDirectory(prefix=f"qc-postgresql-{worker_id}-") as folder:
        yield from _serve_postgresql(Path(folder), initdb, server)


def _serve_postgresql(folder: Path, initdb: str, server: str) -> Iterator[URL]:
    # PostgreSQL refuses to run as root, as test containers often do.
    owner = {"user": "postgres"} if os.geteuid() == 0 else {}
    if owner:
        os.chown(folder, pwd.getpwnam("postgres").pw_uid, -1)
    data = folder / "data"
    subprocess.run(
        [initdb, "-D", str(data), "-U", "qc", "-A", "trust", "-E", "UTF8", "--no-sync"],
        check=True,
        capture_output=True,
        cwd=folder,
        **owner,  # type: ignore[call-overload]
    )
    port = free_port()
    options = ["-D", str(data), "-p", str(port), "-h", "127.0.0.1", "-k", str(folder), "-c", "fsync=off"]
    with (folder / "log").open("wb") as log:
        process = subprocess.Popen([server, *options], stdout=log, stderr=log, cwd=folder, **owner)  # type: ignore[call-overload]
    url = URL.create("postgresql+psycopg", "qc", host="127.0.0.1", port=port, database="postgres")
    try:
        _wait_until_answering(url)
        yield url
    finally:
        # Fast: whoever is still connected is sent away (PostgreSQL manual, "Shutting Down the Server").
        process.send_signal(signal.SIGINT)
        process.wait(timeout=120)


def _wait_until_answering(url: URL) -> None:
    engine = create_engine(url)
    give_up_at = monotonic() + 120
    while True:
        try:
            with engine.connect():
                break
        except OperationalError:
            if monotonic() > give_up_at:
                raise
            sleep(0.05)
    engine.dispose()


@pytest.fixture(scope="session")
def worker_id() -> str:
    """Which of several parallel test processes this is."""
    return os.environ.get("PYTEST_XDIST_WORKER", "alone")


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty, migrated database, once of each kind."""
    if request.param == "sqlite":
        opened = empty_sqlite_database(tmp_path)
    else:
        opened = Database(_copy_of_migrated(request.getfixturevalue("postgresql")))
    yield opened
    opened.close()


@pytest.fixture
def sqlite_database(tmp_path: Path) -> Iterator[Database]:
    """An empty, migrated SQLite database, where the kind makes no difference."""
    opened = empty_sqlite_database(tmp_path)
    yield opened
    opened.close()


def empty_sqlite_database(folder: Path) -> Database:
    """An empty database in a folder. It is migrated once and copied from then on, which takes no time."""
    path = folder / "qc.db"
    path.write_bytes(_bytes_of_migrated())
    return Database(str(path))


@cache
def _bytes_of_migrated() -> bytes:
    return _bytes_after(Database.migrate)


def _bytes_after(work: Callable[[Database], object]) -> bytes:
    with tempfile.TemporaryDirectory(prefix="qc-") as folder:
        path = Path(folder) / "qc.db"
        database = Database(str(path))
        work(database)
        database.close()
        return path.read_bytes()


def _copy_of_migrated(server: URL) -> URL:
    """A new database on the server, copied from one that is migrated once."""
    return _new_postgresql_database(server, like=_migrated_on(server).database)


@cache
def _migrated_on(server: URL) -> URL:
    where = _new_postgresql_database(server)
    database = Database(where)
    database.migrate()
    database.close()
    return where


def _new_postgresql_database(server: URL, like: str | None = "template1") -> URL:
    name = f"qc_{uuid4().hex}"
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(f'CREATE DATABASE "{name}" TEMPLATE "{like}"'))
    engine.dispose()
    return server.set(database=name)


@dataclass(frozen=True)
class Cast:
    """Numbers of the people and things of the test shop, to be looked up in any session."""

    manager: int
    lead: int
    worker: int
    stranger: int
    building: int
    panel: int
    floor_panel: int
    lot: int

    def person(self, session: Session, who: str) -> Person:
        """One of the cast by name: manager, lead, worker, or stranger (from another plant)."""
        found = session.get(Person, getattr(self, who))
        assert found is not None
        return found


def stage(database: Database) -> Cast:
    """Sets up a shop with one building, two panels and a lot; and another plant. The database is migrated."""
    if database.engine.dialect.name != "sqlite":
        return _set_up_stage(database)
    cast, content = _bytes_of_stage()
    path = database.engine.url.database
    assert path is not None
    with closing(sqlite3.connect(":memory:")) as source, closing(sqlite3.connect(path)) as target:
        source.deserialize(content[:18] + NOT_WRITE_AHEAD + content[20:])
        source.backup(target)
    return cast


NOT_WRITE_AHEAD = b"\x01\x01"
"""Bytes 18 and 19 of a file with a rollback journal (SQLite file format, 1.3); memory has no other."""


@cache
def _bytes_of_stage() -> tuple[Cast, bytes]:
    """The stage is set once and copied from then on."""
    casts: list[Cast] = []

    def set_up(database: Database) -> None:
        database.migrate()
        casts.append(_set_up_stage(database))

    content = _bytes_after(set_up)
    return casts[0], content


def _set_up_stage(database: Database) -> Cast:
    with database.write() as session:
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
        for kind, name in (("tape", "Tape 4"), ("scale", "Scale 1"), ("moisture_meter", "Meter 2")):
            add_instrument(session, manager, kind, name, None, NOW)
        add_instrument(session, manager, "core_cutter", "Cutter 1", parse_length("2 1/2"), NOW)
        building = add_building(session, manager, "H1", "Fern Hollow House", NOW)
        roof = add_panel(session, manager, building, roof_panel("R-01"), NOW)
        floor = add_panel(session, manager, building, floor_panel("F-01"), NOW)
        size = (parse_length("8'"), parse_length("1 1/2"), parse_length("11 1/4"))
        lot = book_in_lot(session, manager, "precut_members", "LOT-1", size, NOW)
        stranger = _other_plant(session)
        return Cast(manager.id, lead.id, worker.id, stranger.id, building.id, roof.id, floor.id, lot.id)


def roof_panel(mark: str, sequence: int = 1) -> NewPanel:
    """A closed roof panel of 8 by 24 ft, 11 1/4 in deep, with twelve bays and two connectors."""
    depth = parse_length("11 1/4").nanometres
    bays = tuple(Bay(number, parse_length("22 1/2").nanometres, depth) for number in range(1, 13))
    connectors = (parse_length("4'").nanometres, parse_length("20'").nanometres)
    return NewPanel(
        mark, "closed_roof", feet(24), feet(8), depth, "South slope", sequence, sequence, bays, connectors
    )


def floor_panel(mark: str, sequence: int = 2) -> NewPanel:
    """An open floor panel of 8 by 16 ft."""
    return NewPanel(
        mark, "open_floor", feet(16), feet(8), parse_length("11 7/8").nanometres, "Deck", sequence, sequence
    )


def feet(number: int) -> int:
    """Whole feet in nanometres."""
    return number * 12 * 25_400_000


def _other_plant(session: Session) -> Person:
    plant = add_plant(session, "Faraway Frames", "metric", 16, "Europe/Copenhagen")
    stranger = enrol(session, plant, "Sten Far", "sten", Role.QUALITY_MANAGER, PASSWORD)
    append_event(session, plant, "plant set up", {"plant": plant.name}, at=NOW, person=stranger)
    adopt_plan(session, plant, default_document(), "Start.", stranger, NOW)
    return stranger


@pytest.fixture
def cast(database: Database) -> Cast:
    """The cast on stage in ``database``, once for each kind of database."""
    return stage(database)


def panel_of(session: Session, cast: Cast) -> Panel:
    """The closed roof panel of the cast."""
    return find.panel(session, cast.person(session, "worker"), cast.panel)
