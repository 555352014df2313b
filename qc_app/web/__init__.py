"""The pages: they parse what comes in, call ``work``, and show what comes out. No rule of the trade here."""

from pathlib import Path

import flask
from flask import Flask
from flask_wtf.csrf import CSRFProtect

from qc_app.records.database import Database
from qc_app.web import (
    access,
    compress,
    errors,
    event_words,
    everyone,
    headers,
    language,
    lead,
    modules,
    quality,
    request,
    show,
    site,
    worker,
)
from qc_app.web.build import build_of
from qc_app.web.everyone.trust import Trust
from qc_app.work.outbox.batch import LARGEST_BATCH
from qc_app.work.outbox.file import LARGEST_OUTBOX_FILE
from qc_app.work.photos import LARGEST_PHOTO
from qc_app.work.setup import cookie_key

LARGEST_FORM = 256 * 1024
LARGEST_FILE = 11 * 1024 * 1024
ROOM = {
    "files.upload": LARGEST_FILE,
    "outbox.send": LARGEST_BATCH,
    "outbox.take_photo": LARGEST_PHOTO,
    "outbox_file.take_in": LARGEST_OUTBOX_FILE,
}
"""Bytes that some requests may have; all others at most ``LARGEST_FORM``."""


def create_app(
    database: Database, *, secure: bool = False, trust: Trust | None = None, photos: Path | None = None
) -> Flask:
    """The web program on an opened and migrated database.

    ``secure`` says that browsers reach it over TLS, so that cookies may be bound to that. ``trust``
    is the shop's own authority, where it has one. ``photos`` is the folder that keeps photos; without one,
    it is what QC_PHOTOS says, or beside an SQLite database.
    """
    templates, static = _folder_of("templates"), _folder_of("static")
    app = Flask(
        "qc_app",
        template_folder=str(templates),
        static_folder=str(static),
        static_url_path=f"/static/{build_of(static, templates)}",
    )
    with database.write() as session:
        app.secret_key = cookie_key(session)
    app.config.update(
        SESSION_COOKIE_NAME="__Host-qc" if secure else "qc",
        SESSION_COOKIE_SECURE=secure,
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        PERMANENT_SESSION_LIFETIME=60 * 60 * 24 * 365,
        # Only what changes the cookie sends it: any other answer on its way, such as a page that a tablet is
        # about to keep, would bring back the cookie from before a sign-in, or from before the outbox's token.
        SESSION_REFRESH_EACH_REQUEST=False,
        MAX_CONTENT_LENGTH=LARGEST_FORM,
        # Its address changes whenever a file does, so it is never asked for again.
        SEND_FILE_MAX_AGE_DEFAULT=headers.ONE_YEAR,
        # Bound to the cookie instead of to an hour: a page left open over lunch still saves.
        WTF_CSRF_TIME_LIMIT=None,
    )
    # What a page's scripts read keeps its order, such as that of the fields of a form.
    app.jinja_env.policies["json.dumps_kwargs"] = {"sort_keys": False}
    app.before_request(_make_room_for_files)
    request.install(app, database, photos)
    compress.install(app)
    headers.install(app, secure=secure)
    access.install(app)
    CSRFProtect(app)
    errors.install(app)
    language.install(app)
    show.install(app)
    event_words.install(app)
    modules.install(app)
    everyone.trust.install(app, trust)
    for blueprint in (
        *everyone.BLUEPRINTS,
        *worker.BLUEPRINTS,
        *lead.BLUEPRINTS,
        *quality.BLUEPRINTS,
        *site.BLUEPRINTS,
    ):
        app.register_blueprint(blueprint)
    return app


def _make_room_for_files() -> None:
    flask.request.max_content_length = ROOM.get(flask.request.endpoint or "", LARGEST_FORM)


def _folder_of(name: str) -> Path:
    """Beside the package in a checkout, inside it once installed."""
    package = Path(__file__).parents[1]
    installed = package / name
    return installed if installed.is_dir() else package.parent / name
