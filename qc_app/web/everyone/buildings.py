"""Buildings and their panels: what is known about each."""

from flask import Blueprint, render_template

from qc_app.web.access import allow
from qc_app.web.request import person, reading_session
from qc_app.work import find
from qc_app.work.history import history_of, panels_of
from qc_app.work.materials import uses_of_panel
from qc_app.work.roles import Act

pages = Blueprint("buildings", __name__)


@pages.get("/building")
@allow(Act.LOOK)
def buildings() -> str:
    return render_template("buildings.html", buildings=find.buildings(reading_session(), person()))


@pages.get("/building/<int:building_id>")
@allow(Act.LOOK)
def building(building_id: int) -> str:
    session = reading_session()
    shown = find.building(session, person(), building_id)
    return render_template("building.html", building=shown, panels=panels_of(session, shown))


@pages.get("/panel/<int:panel_id>")
@allow(Act.LOOK)
def panel(panel_id: int) -> str:
    session = reading_session()
    shown = find.panel(session, person(), panel_id)
    return render_template(
        "panel.html", item=shown, history=history_of(session, shown), lots=uses_of_panel(session, shown)
    )


@pages.get("/lot/<int:lot_id>")
@allow(Act.LOOK)
def lot(lot_id: int) -> str:
    session = reading_session()
    shown = find.lot(session, person(), lot_id)
    return render_template("panel.html", item=shown, history=history_of(session, shown))
