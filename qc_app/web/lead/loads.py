"""The loads of a building: what goes on which truck, what is missing, and letting a truck leave."""

from collections.abc import Callable

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response
from wtforms import DateField, SelectField, SelectMultipleField
from wtforms.validators import Optional
from wtforms.widgets import CheckboxInput, ListWidget

from qc_app.records.building import Panel
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find
from qc_app.work import loads as work
from qc_app.work.release import passage
from qc_app.work.roles import Act
from qc_app.work.state import LOADED

pages = Blueprint("loads", __name__)


class LoadForm(FlaskForm):
    """A new load: when it leaves, and what goes on it."""

    leaves_on = DateField(_l("Leaves on (optional)"), [Optional()])
    panels = SelectMultipleField(
        _l("Panels on it"),
        coerce=int,
        option_widget=CheckboxInput(),
        widget=ListWidget(prefix_label=False),
    )


class PanelForm(FlaskForm):
    """A panel to put on a load."""

    panel = SelectField(_l("Panel"), coerce=int)


@pages.get("/building/<int:building_id>/loads")
@allow(Act.PLAN_LOADS)
def building(building_id: int) -> str:
    """The loads of a building, each in the order it is loaded, and what is free to go."""
    return _page(building_id, _load_form(building_id, fresh=True))


@pages.post("/building/<int:building_id>/loads")
@allow(Act.PLAN_LOADS)
def plan(building_id: int) -> Response | tuple[str, int]:
    """Adds a load."""
    form = _load_form(building_id)

    def act(session: Session, by: Person) -> None:
        panels = [find.panel(session, by, number) for number in form.panels.data or ()]
        shown = find.building(session, by, building_id)
        work.plan_load(session, by, shown, panels, form.leaves_on.data, now())

    return _done(form, building_id, act)


@pages.post("/load/<int:load_id>/panel")
@allow(Act.PLAN_LOADS)
def put_on(load_id: int) -> Response | tuple[str, int]:
    """Puts a panel on a load."""
    shown = work.load(reading_session(), person(), load_id)
    form = PanelForm()
    form.panel.choices = _choices(shown.building_id)

    def act(session: Session, by: Person) -> None:
        panel = find.panel(session, by, form.panel.data)
        work.put_on_load(session, by, work.load(session, by, load_id), panel, now())

    return _done(form, shown.building_id, act)


@pages.post("/load/<int:load_id>/release")
@allow(Act.RELEASE)
def release(load_id: int) -> Response | tuple[str, int]:
    """Lets a load leave."""
    shown = work.load(reading_session(), person(), load_id)

    def act(session: Session, by: Person) -> None:
        work.release_load(session, by, work.load(session, by, load_id), now())

    return _done(FlaskForm(), shown.building_id, act)


@pages.post("/panel/<int:panel_id>/load/off")
@allow(Act.PLAN_LOADS)
def take_off(panel_id: int) -> Response | tuple[str, int]:
    """Takes a panel off its load."""
    return _with_panel(panel_id, lambda session, by, panel: work.take_off(session, by, panel, now()))


@pages.post("/panel/<int:panel_id>/loaded")
@allow(Act.PLAN_LOADS)
def loaded(panel_id: int) -> Response | tuple[str, int]:
    """Writes down that a panel is on the truck."""
    return _with_panel(panel_id, lambda session, by, panel: passage(session, by, panel, LOADED, now()))


def _with_panel(panel_id: int, act: Callable[[Session, Person, Panel], object]) -> Response | tuple[str, int]:
    shown = find.panel(reading_session(), person(), panel_id)
    return _done(
        FlaskForm(),
        shown.building_id,
        lambda session, by: act(session, by, find.panel(session, by, panel_id)),
    )


def _done(
    form: FlaskForm, building_id: int, act: Callable[[Session, Person], object]
) -> Response | tuple[str, int]:
    """Does an act in one transaction and shows the loads again, with what was refused."""
    if form.validate_on_submit():
        try:
            with database().write() as session:
                act(session, person_in(session))
            return redirect(url_for("loads.building", building_id=building_id))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _page(building_id, form), 400


def _load_form(building_id: int, *, fresh: bool = False) -> LoadForm:
    form = LoadForm(formdata=None) if fresh else LoadForm()
    form.panels.choices = _choices(building_id)
    return form


def _choices(building_id: int) -> list[tuple[int, str]]:
    session = reading_session()
    free = work.on_no_load(session, find.building(session, person(), building_id))
    return [
        (
            panel.id,
            _("%(mark)s, raising sequence %(sequence)s", mark=panel.mark, sequence=panel.raising_sequence),
        )
        for panel in free
    ]


def _page(building_id: int, form: FlaskForm) -> str:
    session = reading_session()
    session.rollback()  # to see what others wrote since this request began
    shown = find.building(session, person(), building_id)
    return render_template(
        "loads.html",
        title=_("Loads of %(building)s", building=shown.code),
        building=shown,
        form=form,
        planning=form if isinstance(form, LoadForm) else _load_form(building_id, fresh=True),
        loads=[(load, work.lines_of(session, load, now())) for load in work.loads_of(session, shown)],
        left=_choices(building_id),
        free=work.free_to_go(session, shown, now()),
        cautions=work.CAUTIONS,
    )
