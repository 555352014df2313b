"""For the crew on site: the next panel to be raised, and the key that says it is set."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import TextAreaField

from qc_app.records.building import Building, Panel
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.site.own_building import own_building
from qc_app.work import find
from qc_app.work.release import passage
from qc_app.work.roles import Act
from qc_app.work.site import CAUTIONS, raising_order, site_panel
from qc_app.work.state import SET, PanelState, state_of

pages = Blueprint("site", __name__)

FOLLOWING = 8
"""How many panels after the next one are listed."""


class SetForm(FlaskForm):
    """How a panel fitted."""

    remark = TextAreaField(
        _l("How it fitted (optional)"), description=_l("Gaps, what was trimmed or forced, damage.")
    )


@pages.get("/site")
@allow(Act.FOLLOW_SITE)
def home() -> str | Response:
    """The crew's building; whoever sees several chooses one."""
    return own_building("site.building")


@pages.get("/site/<int:building_id>")
@allow(Act.FOLLOW_SITE)
def building(building_id: int) -> str:
    """The next panel in raising order, and those after it."""
    session = reading_session()
    shown = find.building(session, person(), building_id)
    ordered = raising_order(session, shown, now())
    left = [state for state in ordered if state.standing != SET]
    return _page(shown, left[0] if left else None, ordered, SetForm())


@pages.get("/site/panel/<int:panel_id>")
@allow(Act.FOLLOW_SITE)
def panel(panel_id: int) -> str:
    """One panel, whenever it is raised; where a scanned label leads."""
    shown = find.panel(reading_session(), person(), panel_id)
    return _of_panel(shown, SetForm())


@pages.post("/site/panel/<int:panel_id>/set")
@allow(Act.SET_PANEL)
def set_panel(panel_id: int) -> str | Response | tuple[str, int]:
    """Records that a panel is set."""
    shown, form = find.panel(reading_session(), person(), panel_id), SetForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                passage(session, by, find.panel(session, by, panel_id), SET, now(), form.remark.data or "")
            return redirect(url_for("site.building", building_id=shown.building_id))
        except Refusal as refusal:
            take_refusal(form, refusal, "remark")
    return _of_panel(shown, form), 400


def _of_panel(shown: Panel, form: SetForm) -> str:
    session = reading_session()
    ordered = raising_order(session, shown.building, now())
    return _page(shown.building, state_of(session, shown, now()), ordered, form)


def _page(shown: Building, state: PanelState | None, ordered: list[PanelState], form: SetForm) -> str:
    chosen = site_panel(reading_session(), state) if state else None
    left = [one for one in ordered if one.standing != SET]
    return render_template(
        "site.html",
        title=chosen.panel.mark if chosen else shown.name,
        building=shown,
        chosen=chosen,
        is_next=bool(left and chosen and left[0].panel.id == chosen.panel.id),
        following=[one for one in left if chosen is None or one.panel.id != chosen.panel.id][:FOLLOWING],
        left=len(left),
        all=len(ordered),
        cautions=CAUTIONS,
        form=form,
        is_form_shown=bool(chosen and chosen.may_be_raised and chosen.state.set_at is None),
    )
