"""Buildings and their panels: what is known about each, and putting a panel on hold."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import StringField

from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find
from qc_app.work import hold as holding
from qc_app.work import nonconformity as nonconformities
from qc_app.work.history import acts_in, history_of, panels_of
from qc_app.work.materials import uses_of_panel
from qc_app.work.remake import successor
from qc_app.work.roles import Act
from qc_app.work.state import state_of, states_of

pages = Blueprint("buildings", __name__)


class HoldForm(FlaskForm):
    """Why a panel is put on hold, or why it may go on."""

    reason = StringField(_l("Why"))


@pages.get("/building")
@allow(Act.LOOK)
def buildings() -> str:
    return render_template("buildings.html", buildings=find.buildings(reading_session(), person()))


@pages.get("/building/<int:building_id>")
@allow(Act.LOOK)
def building(building_id: int) -> str:
    session = reading_session()
    shown = find.building(session, person(), building_id)
    states = {state.panel.id: state for state in states_of(session, shown, now())}
    counted = [state for state in states.values() if state.scrapped_at is None]
    return render_template(
        "building.html",
        building=shown,
        panels=panels_of(session, shown),
        states=states,
        proven=sum(state.is_proven for state in counted),
        all=len(counted),
    )


@pages.get("/building/<int:building_id>/history")
@allow(Act.LOOK)
def history(building_id: int) -> str:
    """What happened to the panels of a building, in order."""
    session = reading_session()
    shown = find.building(session, person(), building_id)
    panels = {line.panel.id: line.panel for line in panels_of(session, shown)}
    acts = acts_in(session, shown)
    title = _("History of %(building)s", building=shown.code)
    return render_template("building_history.html", title=title, building=shown, acts=acts, panels=panels)


@pages.get("/panel/<int:panel_id>")
@allow(Act.LOOK)
def panel(panel_id: int) -> str:
    return _panel_page(panel_id, HoldForm(formdata=None))


@pages.post("/panel/<int:panel_id>/hold")
@allow(Act.HOLD)
def hold(panel_id: int) -> Response | tuple[str, int]:
    """Puts a panel on hold."""
    form = HoldForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = find.panel(session, person(), panel_id)
                holding.place_hold(session, person_in(session), found, form.reason.data or "", now())
            return redirect(url_for("buildings.panel", panel_id=panel_id))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _panel_page(panel_id, form, "hold"), 400


@pages.post("/panel/<int:panel_id>/hold/<int:hold_id>/lift")
@allow(Act.LIFT_HOLD)
def lift(panel_id: int, hold_id: int) -> Response | tuple[str, int]:
    """Lifts a hold."""
    form = HoldForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = holding.hold(session, person(), hold_id)
                holding.lift_hold(session, person_in(session), found, form.reason.data or "", now())
            return redirect(url_for("buildings.panel", panel_id=panel_id))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _panel_page(panel_id, form, f"lift-{hold_id}"), 400


@pages.get("/lot/<int:lot_id>")
@allow(Act.LOOK)
def lot(lot_id: int) -> str:
    session = reading_session()
    shown = find.lot(session, person(), lot_id)
    return render_template("panel.html", item=shown, history=history_of(session, shown))


def _panel_page(panel_id: int, form: HoldForm, tried: str = "") -> str:
    """The page of a panel; ``tried`` names the form that was refused."""
    session = reading_session()
    session.rollback()  # to see what others wrote since this request began
    shown = find.panel(session, person(), panel_id)
    return render_template(
        "panel.html",
        item=shown,
        history=history_of(session, shown),
        lots=uses_of_panel(session, shown),
        state=state_of(session, shown, now()),
        nonconformities=nonconformities.of_panel(session, shown),
        again=successor(session, shown),
        form=form,
        tried=tried,
    )
