"""Pages for what goes wrong: a plain sentence, and a way out."""

import logging
import secrets

from flask import Flask, render_template, request
from flask_babel import gettext as _
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from qc_app.refusal import Refusal
from qc_app.web.language import say
from qc_app.web.spoken import speaks_json, spoken
from qc_app.work.find import NotFound
from qc_app.work.roles import NotAllowed

log = logging.getLogger("qc_app")

Answer = Response | tuple[str, int]


def install(app: Flask) -> None:
    """Registers the pages."""
    app.register_error_handler(HTTPException, _http)
    app.register_error_handler(Refusal, _refusal)
    app.register_error_handler(CSRFError, _csrf)
    app.register_error_handler(Exception, _unforeseen)


def _http(error: HTTPException) -> Answer:
    status = error.code or 500
    sentences = {
        401: _("Sign in to go on. Entries stay on this tablet until they are sent."),
        403: _("Your role may not do this. Ask the quality manager."),
        404: _("There is no such page here."),
        405: _("This page cannot be used that way."),
        413: _(
            "That is more than this page takes: at most 256 kB typed, or a file of 10 MB. Nothing was saved."
        ),
    }
    return _page(sentences.get(status, _("That request could not be read. Nothing was saved.")), status)


def _refusal(error: Refusal) -> Answer:
    status = 404 if isinstance(error, NotFound) else 403 if isinstance(error, NotAllowed) else 400
    return _page(say(error), status)


def _csrf(_error: CSRFError) -> Answer:
    if speaks_json():
        # Not the entries are at fault: the script asks for a fresh token and sends them again.
        return _page(_("The server wants to greet this tablet again before it takes entries."), 401)
    return _page(
        _("This page was opened before you signed in, or elsewhere. Go back, reload it, and save again."), 400
    )


def _unforeseen(error: Exception) -> Answer:
    incident = secrets.token_hex(4)
    log.exception("incident %s at %s %s", incident, request.method, request.path, exc_info=error)
    return _page(
        _(
            "Something went wrong here, and nothing was saved. Tell the shop lead: incident %(incident)s.",
            incident=incident,
        ),
        500,
    )


def _page(sentence: str, status: int) -> Answer:
    if speaks_json():
        return spoken(status, sentence=sentence)
    return render_template("problem.html", sentence=sentence), status
