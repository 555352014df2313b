"""The pages over a small shop, and browsers without a screen that are signed in as one of the cast."""

import re
from collections.abc import Callable, Mapping

import pytest
from flask import Flask
from flask.testing import FlaskClient

from qc_app.records.database import Database
from qc_app.web import create_app
from qc_app.web.request import now
from qc_app.work.sign_in import open_sign_in
from tests.conftest import Cast, stage

SignedIn = Callable[[str], "Browser"]


class Browser:
    """A client that carries the token against forged requests from page to form, as a browser does."""

    def __init__(self, client: FlaskClient) -> None:
        self.client = client

    def get(self, path: str, status: int = 200) -> str:
        answer = self.client.get(path)
        assert answer.status_code == status, answer.get_data(as_text=True)
        return answer.get_data(as_text=True)

    def post(
        self, path: str, data: Mapping[str, object] | None = None, page: str | None = None, status: int = 302
    ) -> str:
        """Submits a form with the token taken from ``page``; returns the address it leads to, or the page."""
        token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', self.get(page or path))
        assert token is not None
        answer = self.client.post(path, data={"csrf_token": token[1], **(data or {})})
        assert answer.status_code == status, answer.get_data(as_text=True)
        return answer.location if status == 302 else answer.get_data(as_text=True)


@pytest.fixture
def shop(sqlite_database: Database) -> Cast:
    """The small shop, on SQLite."""
    return stage(sqlite_database)


@pytest.fixture
def app(sqlite_database: Database) -> Flask:
    """The pages."""
    return create_app(sqlite_database)


@pytest.fixture
def signed_in(app: Flask, sqlite_database: Database, shop: Cast) -> SignedIn:
    """Gives a browser signed in as one of the cast."""

    def sign_in(who: str) -> Browser:
        client = app.test_client()
        with sqlite_database.write() as session:
            token = open_sign_in(session, getattr(shop, who), now())
        with client.session_transaction() as cookie:
            cookie["token"] = token
        return Browser(client)

    return sign_in
