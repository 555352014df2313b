"""What belongs to one request: the database, a session to look with, who is there, and the time."""

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import cast

from flask import Flask, Response, current_app, g, request
from flask import session as cookie
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.photo_store import PhotoStore, photo_folder
from qc_app.records.shop import Person
from qc_app.records.tablet import Tablet
from qc_app.work import sign_in, tablets
from qc_app.work.find import Visitor
from qc_app.work.sign_in import who

_DATABASE = "qc_app database"
_PHOTOS = "qc_app photos"

CREDENTIAL_LASTS = timedelta(days=400)
"""Of a tablet's cookie, put off while it is used; browsers keep none longer (RFC 6265bis, 5.5)."""


def install(app: Flask, database: Database, photos: Path | None) -> None:
    """Gives requests the database and the folder of photos, and closes what they opened."""
    app.extensions[_DATABASE] = database
    app.extensions[_PHOTOS] = PhotoStore(photos or photo_folder(database.engine))
    app.after_request(_renew_credential)
    app.teardown_appcontext(_close)


def database() -> Database:
    """The opened database."""
    return cast(Database, current_app.extensions[_DATABASE])


def photo_store() -> PhotoStore:
    """The folder of photos."""
    return cast(PhotoStore, current_app.extensions[_PHOTOS])


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


def tablet() -> Tablet | None:
    """The enrolled tablet that asks, if it is one."""
    if "tablet" not in g:
        token = request.cookies.get(_credential_name())
        g.tablet = tablets.holder_of(reading_session(), token) if token else None
    return cast(Tablet | None, g.tablet)


def admit(found: Tablet) -> None:
    """Makes a tablet the visitor of this page, and now and then writes that it was seen."""
    g.admitted = found
    if tablets.is_due_to_be_seen(found, now()):
        with database().write() as session:
            tablets.see(session, found.id, now())
        g.credential = request.cookies[_credential_name()]


def visitor() -> Visitor:
    """The tablet on pages open to tablets, or else who is signed in."""
    return cast(Tablet | None, g.get("admitted")) or person()


def give_credential(token: str) -> None:
    """Has the answer leave a credential on the tablet."""
    g.credential = token


def keep_awake() -> None:
    """Puts off the end of the sign-in, now and then."""
    token = cookie.get("token")
    if isinstance(token, str) and sign_in.is_due_to_be_seen(reading_session(), token, now()):
        with database().write() as session:
            sign_in.see(session, token, now())


def _credential_name() -> str:
    # Browsers take a __Host- cookie only over TLS, and never from another host.
    return "__Host-tablet" if current_app.config["SESSION_COOKIE_SECURE"] else "tablet"


def _renew_credential(response: Response) -> Response:
    token = g.pop("credential", None)
    if token is not None:
        response.set_cookie(
            _credential_name(),
            token,
            max_age=CREDENTIAL_LASTS,
            secure=current_app.config["SESSION_COOKIE_SECURE"],
            httponly=True,
            samesite="Lax",
        )
    return response


def _close(_error: BaseException | None) -> None:
    opened = g.pop("reading_session", None)
    if opened is not None:
        opened.close()
