"""What belongs to one request: the database, a session to look with, who is signed in, and the time."""

from datetime import UTC, datetime
from typing import cast

from flask import Flask, current_app, g
from flask import session as cookie
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.shop import Person
from qc_app.work import sign_in
from qc_app.work.sign_in import who

_DATABASE = "qc_app database"


def install(app: Flask, database: Database) -> None:
    """Gives requests the database, and closes what they opened."""
    app.extensions[_DATABASE] = database
    app.teardown_appcontext(_close)


def database() -> Database:
    """The opened database."""
    return cast(Database, current_app.extensions[_DATABASE])


def now() -> datetime:
    """The time, in UTC."""
    return datetime.now(UTC)


def reading_session() -> Session:
    """A session for looking, the same throughout the request."""
    if "reading_session" not in g:
        g.reading_session = Session(database().engine)
    return cast(Session, g.reading_session)


def person() -> Person:
    """Who is signed in. Only called where ``access`` has made sure that somebody is."""
    found = signed_in()
    assert found is not None, "a page for nobody asked who is signed in"  # noqa: S101
    return found


def signed_in() -> Person | None:
    """Who is signed in, if anybody."""
    if "person" not in g:
        token = cookie.get("token")
        g.person = who(reading_session(), token, now()) if isinstance(token, str) else None
    return cast(Person | None, g.person)


def person_in(session: Session) -> Person:
    """Who is signed in, as a row of another session."""
    found = session.get(Person, person().id)
    assert found is not None, "people are never deleted"  # noqa: S101
    return found


def keep_awake() -> None:
    """Puts off the end of the sign-in, now and then."""
    token = cookie.get("token")
    if isinstance(token, str) and sign_in.is_due_to_be_seen(reading_session(), token, now()):
        with database().write() as session:
            sign_in.see(session, token, now())


def _close(_error: BaseException | None) -> None:
    opened = g.pop("reading_session", None)
    if opened is not None:
        opened.close()
