"""The language in which the program speaks to whoever is signed in. Tablets ask in a dialog of their own."""

from urllib.parse import parse_qsl, urlencode, urlsplit

from flask import Blueprint, abort, redirect, request
from werkzeug.wrappers import Response

from qc_app.web.access import allow
from qc_app.web.language import LANGUAGES
from qc_app.web.request import database, person_in
from qc_app.web.way_back import way_back
from qc_app.work.roles import Act

pages = Blueprint("language_choice", __name__)


@pages.post("/language")
@allow(Act.VISIT)
def choose() -> Response:
    """Remembers the language, and shows the same page in it."""
    chosen = request.form.get("language")
    if chosen not in LANGUAGES:
        abort(400)
    with database().write() as session:
        person_in(session).language = chosen
    return redirect(_unspoken(way_back(request.form.get("next", ""))))


def _unspoken(address: str) -> str:
    """An address that does not say the language itself, which would go before the one chosen."""
    parts = urlsplit(address)
    kept = [(key, value) for key, value in parse_qsl(parts.query, True) if key != "language"]
    return parts._replace(query=urlencode(kept)).geturl()
