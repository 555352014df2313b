"""The demo, and a browser without a screen that its quality manager is signed in to."""

from collections.abc import Iterator

import pytest
from flask import Flask
from flask.testing import FlaskClient
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.web import create_app
from qc_app.web.request import now
from qc_app.work.sign_in import open_sign_in
from tests.demo import one_demo


@pytest.fixture(scope="module")
def demo_database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """The demo, copied: looking at pages writes when somebody was last seen."""
    built = one_demo(tmp_path_factory.getbasetemp()).folder / "qc.db"
    copied = tmp_path_factory.mktemp("bench") / "qc.db"
    copied.write_bytes(built.read_bytes())
    database = Database(str(copied))
    yield database
    database.close()


@pytest.fixture(scope="module")
def demo_pages(demo_database: Database) -> Flask:
    return create_app(demo_database)


@pytest.fixture(scope="module")
def manager(demo_pages: Flask, demo_database: Database) -> FlaskClient:
    """The quality manager's browser."""
    client = demo_pages.test_client()
    with demo_database.write() as session:
        mira = session.scalars(select(Person).where(Person.sign_in_name == "mira")).one()
        token = open_sign_in(session, mira.id, now())
    with client.session_transaction() as cookie:
        cookie["token"] = token
    return client
