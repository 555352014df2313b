"""Moving a panel that has started to a newer version of the control plan."""

from flask import Blueprint, redirect, render_template, url_for
from flask import request as asked
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import HiddenField, TextAreaField
from wtforms.validators import InputRequired

from qc_app.records.building import Panel
from qc_app.records.control_plan import ControlPlan
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find, plan_moves, plan_versions
from qc_app.work.roles import Act

pages = Blueprint("plan_move", __name__)


class MoveForm(FlaskForm):
    """Why a panel moves, and to which version."""

    version = HiddenField()
    reason = TextAreaField(_l("Why this panel moves"), [InputRequired(_l("Say why this panel moves."))])


@pages.route("/panel/<int:panel_id>/plan", methods=["GET", "POST"])
@allow(Act.EDIT_PLAN)
def move(panel_id: int) -> str | Response | tuple[str, int]:
    """What moving would change, and the key that does it."""
    panel = find.panel(reading_session(), person(), panel_id)
    newer = plan_moves.newer_versions(reading_session(), panel, now())
    form, to = MoveForm(), _chosen(newer)
    if form.validate_on_submit() and to is not None:
        try:
            _moved(panel_id, to.id, form.reason.data or "")
            return redirect(url_for("buildings.panel", panel_id=panel_id))
        except Refusal as refusal:
            take_refusal(form, refusal, "reason")
    shown, said = _shown(panel, to)
    form.version.data = str(to.id) if to else ""
    page = render_template(
        "plan_move.html", form=form, panel=panel, newer=newer, to=to, move=shown, said=said
    )
    return (page, 400) if form.errors or form.form_errors else page


@pages.app_template_global()
def has_newer_plan(item: object) -> bool:
    """Whether a panel can move to a newer version."""
    return isinstance(item, Panel) and bool(plan_moves.newer_versions(reading_session(), item, now()))


def _chosen(newer: list[ControlPlan]) -> ControlPlan | None:
    given = asked.values.get("version", "")
    return next((version for version in newer if str(version.id) == given), newer[0] if newer else None)


def _shown(panel: Panel, to: ControlPlan | None) -> tuple[plan_moves.Move | None, Refusal | None]:
    if to is None:
        return None, None
    try:
        return plan_moves.move_of(reading_session(), person(), panel, to, now()), None
    except Refusal as refusal:
        return None, refusal


def _moved(panel_id: int, version_id: int, reason: str) -> None:
    with database().write() as session:
        somebody = person_in(session)
        panel = find.panel(session, somebody, panel_id)
        version = plan_versions.version(session, somebody, version_id)
        plan_moves.move_panel(session, somebody, panel, version, reason, now())
