"""Labels to stick on panels, and where a scanned one leads."""

from dataclasses import dataclass

from flask import Blueprint, current_app, redirect, render_template, request, url_for
from flask import session as cookie
from werkzeug.wrappers import Response

from qc_app.records.building import Panel
from qc_app.web.access import allow
from qc_app.web.code import code_of
from qc_app.web.request import person, reading_session
from qc_app.work import find
from qc_app.work.history import panels_of
from qc_app.work.roles import Act, may

pages = Blueprint("labels", __name__)


@dataclass(frozen=True)
class Label:
    """A panel's label: its address, and the same as a square code of ``side`` modules drawn by ``path``."""

    panel: Panel
    kind: str
    address: str
    side: int
    path: str


@pages.get("/building/<int:building_id>/labels")
@allow(Act.LOOK)
def labels(building_id: int) -> str:
    """One label for each panel of a building, to be printed."""
    session = reading_session()
    building = find.building(session, person(), building_id)
    labels = [_label(line.panel, line.kind) for line in panels_of(session, building)]
    return render_template("labels.html", building=building, labels=labels)


@pages.get("/p/<path:label>")
@allow(Act.SCAN)
def scanned(label: str) -> Response:
    """Where a label leads: the panel at this browser's station, its own page, or on site that of the crew."""
    panel = _panel_named(label)
    key = cookie.get("station")
    if key in [s.key for s in find.stations(reading_session(), person())]:
        return redirect(url_for("station.panel", key=key, item_id=panel.id))
    if not may(person(), Act.LOOK):
        return redirect(url_for("site.panel", panel_id=panel.id))
    return redirect(url_for("buildings.panel", panel_id=panel.id))


def _panel_named(label: str) -> Panel:
    """The panel that code and mark name. Either may hold a stroke itself, so known codes come first."""
    session, who = reading_session(), person()
    codes = [b.code for b in find.buildings(session, who) if label.lower().startswith(f"{b.code.lower()}/")]
    code = max(codes, key=len, default=label.split("/")[0])
    building = find.building_by_code(session, who, code)
    return find.panel_by_mark(session, building, label[len(code) + 1 :])


def _label(panel: Panel, kind: str) -> Label:
    address = _address(panel)
    code = code_of(address)
    return Label(panel, kind, address, code.side, code.path)


def _address(panel: Panel) -> str:
    """The panel's address at the host by which this page was opened, over TLS wherever there is any."""
    scheme = "https" if current_app.config["SESSION_COOKIE_SECURE"] else request.scheme
    label = f"{panel.building.code}/{panel.mark}"
    return url_for("labels.scanned", label=label, _external=True, _scheme=scheme)
