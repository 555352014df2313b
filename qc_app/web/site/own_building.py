"""The one building that somebody sees, or the choice among several."""

from flask import redirect, render_template, url_for
from werkzeug.wrappers import Response

from qc_app.web.request import person, reading_session
from qc_app.work import find


def own_building(endpoint: str) -> str | Response:
    """Leads to a page about the only building the visitor sees, or shows those there are."""
    seen = find.buildings(reading_session(), person())
    if len(seen) == 1:
        return redirect(url_for(endpoint, building_id=seen[0].id))
    return render_template("building_choose.html", buildings=seen, endpoint=endpoint)
