"""Enrolling the tablet one holds, with the code that the quality manager's page shows."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask_babel import gettext as _
from werkzeug.wrappers import Response

from qc_app.web.access import allow_anybody
from qc_app.web.language import say
from qc_app.web.request import database, give_credential, now, reading_session, tablet
from qc_app.work.tablets import CodeRefused, enrol, invited

pages = Blueprint("tablet", __name__)


@pages.get("/tablet/enrol")
@allow_anybody()
def ask() -> str | Response | tuple[str, int]:
    """Asks once more, so that whoever only looks at the code enrols nothing. An enrolled tablet goes on."""
    if tablet() is not None:
        return redirect(url_for("station.choose"))
    code = request.args.get("code", "")
    try:
        found = invited(reading_session(), code, now())
    except CodeRefused as refusal:
        return _refused(refusal)
    return render_template("tablet_enrol.html", title=_("Enrol this tablet"), code=code, tablet=found)


@pages.post("/tablet/enrol")
@allow_anybody()
def take() -> Response | tuple[str, int]:
    """Leaves a credential on the tablet and leads to its station."""
    try:
        with database().write() as session:
            enrolled, credential = enrol(session, request.form.get("code", ""), now())
            station = enrolled.station.key
    except CodeRefused as refusal:
        return _refused(refusal)
    give_credential(credential)
    return redirect(url_for("station.waiting", key=station))


def _refused(refusal: CodeRefused) -> tuple[str, int]:
    return render_template("problem.html", sentence=say(refusal)), 410
