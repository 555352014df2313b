"""Nonconformities: what is open and what waits for it, one with its history, and opening one by hand."""

from dataclasses import dataclass
from datetime import date, datetime

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext, ngettext
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import HiddenField, IntegerField, RadioField, StringField, TextAreaField
from wtforms.validators import InputRequired

from qc_app.plan.place_marks import parse_place_marks
from qc_app.records.building import Panel
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.release import Load
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.language import said
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.worker.panel_drawing import MARGIN, PanelDrawing, Spot, drawing_of
from qc_app.work import find
from qc_app.work import nonconformity as work
from qc_app.work.remake import successor
from qc_app.work.roles import Act, may
from qc_app.work.sentence import Sentence
from qc_app.work.state import as_told_to, state_of

pages = Blueprint("nonconformities", __name__)

MOST_PHOTOS = 10


class Decide(FlaskForm):
    """What is done about a nonconformity. ``version`` is that of the page on which it was decided."""

    version = HiddenField()
    kind = RadioField(_l("What is done"), [InputRequired(_l("Choose what is done."))])
    reason = TextAreaField(_l("Why"), description=_l("What was seen, and why this is right."))
    agreed_by = StringField(
        _l("Who agreed for the customer"), description=_l("Only to accept it as it is: their name.")
    )


class Confirm(FlaskForm):
    """That it was put right and looked at again."""

    version = HiddenField()
    found = TextAreaField(_l("What was found when it was looked at again"))


class Explain(FlaskForm):
    """Why it came about, and what is changed so that it does not come again."""

    version = HiddenField()
    cause = TextAreaField(_l("Cause"), description=_l("What let it happen, not who."))
    correction = TextAreaField(_l("What is changed so that it does not come again"))


class LinkTo(FlaskForm):
    """Another nonconformity of the same building that this one has to do with."""

    other = IntegerField(_l("Number of the other one"), [InputRequired(_l("Enter its number."))])


class Report(FlaskForm):
    """Something wrong with a panel that no check asks for."""

    what = TextAreaField(_l("What is wrong"), description=_l("What it is, and how large."))
    places = HiddenField()
    photos = HiddenField()


@dataclass(frozen=True)
class Row:
    """One open nonconformity with what waits for it."""

    one: Nonconformity
    load: Load | None

    @property
    def urgency(self) -> tuple[date, datetime]:
        """Those of the next truck come first, and of these the oldest."""
        leaves_on = self.load.leaves_on if self.load is not None else None
        return leaves_on or date.max, self.one.opened_at


@pages.get("/nonconformity")
@allow(Act.LOOK)
def overview() -> str:
    """What is open, with its age and what waits for it."""
    session = reading_session()
    rows = [Row(one, _load_of(one.panel)) for one in work.open_ones(session, person())]
    return render_template(
        "nonconformities.html",
        title=_("Nonconformities"),
        rows=sorted(rows, key=lambda row: row.urgency),
        plant=person().plant,
    )


@pages.get("/nonconformity/<int:number>")
@allow(Act.LOOK)
def one(number: int) -> str:
    """One nonconformity with its history."""
    return _page(number)


@pages.post("/nonconformity/<int:number>/decide")
@allow(Act.DECIDE_REWORK)
def decide(number: int) -> Response | tuple[str, int]:
    """Writes down what is done about it."""
    form = _decide_form()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                work.decide(
                    session,
                    person_in(session),
                    work.find_one(session, person(), number),
                    form.kind.data,
                    form.reason.data or "",
                    _version(form),
                    now(),
                    form.agreed_by.data or "",
                )
            return redirect(url_for("nonconformities.one", number=number))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _page(number, decide=form), 400


@pages.post("/nonconformity/<int:number>/confirm")
@allow(Act.DECIDE_REWORK)
def confirm(number: int) -> Response | tuple[str, int]:
    """Closes one that a person opened, once it is put right."""
    form = Confirm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = work.find_one(session, person(), number)
                said = form.found.data or ""
                work.confirm(session, person_in(session), found, said, _version(form), now())
            return redirect(url_for("nonconformities.one", number=number))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _page(number, confirm=form), 400


@pages.post("/nonconformity/<int:number>/explain")
@allow(Act.DECIDE_REWORK)
def explain(number: int) -> Response | tuple[str, int]:
    """Writes down cause and correction."""
    form = Explain()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = work.find_one(session, person(), number)
                cause, correction = form.cause.data or "", form.correction.data or ""
                work.explain(session, person_in(session), found, cause, correction, _version(form), now())
            return redirect(url_for("nonconformities.one", number=number))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return _page(number, explain=form), 400


@pages.post("/nonconformity/<int:number>/link")
@allow(Act.DECIDE_REWORK)
def link(number: int) -> Response | tuple[str, int]:
    """Links it to another one of the building."""
    form = LinkTo()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = work.find_one(session, person(), number)
                other = work.by_number(session, found.building, form.other.data or 0)
                work.link(session, person_in(session), found, other, now())
            return redirect(url_for("nonconformities.one", number=number))
        except Refusal as refusal:
            take_refusal(form, refusal, "other")
    return _page(number, link=form), 400


@pages.get("/panel/<int:panel_id>/nonconformity")
@allow(Act.OPEN_NONCONFORMITY)
def report(panel_id: int) -> str:
    """The form to report something wrong with a panel."""
    return _report_page(panel_id, Report())


@pages.post("/panel/<int:panel_id>/nonconformity")
@allow(Act.OPEN_NONCONFORMITY)
def open_one(panel_id: int) -> Response | tuple[str, int]:
    """Opens a nonconformity by hand."""
    form = Report()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                found = find.panel(session, person(), panel_id)
                photos = (form.photos.data or "").split()[:MOST_PHOTOS]
                what, places = form.what.data or "", form.places.data or ""
                opened = work.open_by_person(session, person_in(session), found, what, places, photos, now())
                session.flush()
                number = opened.id
            return redirect(url_for("nonconformities.one", number=number))
        except Refusal as refusal:
            take_refusal(form, refusal, "what")
    return _report_page(panel_id, form), 400


@pages.app_template_global()
def age(since: datetime) -> str:
    """How long something has been open, in hours up to two days and in days after that."""
    hours = max(int((now() - since).total_seconds() // 3600), 0)
    if hours < 1:
        return _("less than an hour")
    if hours < 48:
        return ngettext("%(num)s hour", "%(num)s hours", hours)
    return ngettext("%(num)s day", "%(num)s days", hours // 24)


@pages.app_template_global()
def told(sentence: Sentence) -> str:
    """A sentence about a hold, as whoever is signed in reads it."""
    return said(as_told_to(person(), sentence))


@pages.app_template_global()
def decision_word(kind: str) -> str:
    """The word for what was decided, or for how it was closed."""
    if kind == work.CORRECTED:
        return _("the reading was typed wrong, and is corrected")
    return gettext(work.WORDS[kind])


def _decide_form() -> Decide:
    form = Decide()
    form.kind.choices = [
        (kind.value, gettext(work.WORDS[kind])) for kind in work.Decision if may(person(), work.ACTS[kind])
    ]
    return form


def _version(form: FlaskForm) -> int:
    """The version of the page; one that is no number never fits."""
    given = form["version"].data or ""
    return int(given) if given.isdecimal() and len(given) < 10 else -1


def _page(number: int, **tried: FlaskForm) -> str:
    """The page, with a form that was tried; whoever tries again has seen what it is like now."""
    session, who = reading_session(), person()
    session.rollback()  # to see what others wrote since this request began
    shown = work.find_one(session, who, number)
    forms: dict[str, FlaskForm] = {
        "decide": _decide_form(),
        "confirm": Confirm(formdata=None),
        "explain": Explain(formdata=None, data={"cause": shown.cause, "correction": shown.correction}),
        "link": LinkTo(formdata=None),
        **tried,
    }
    for form in forms.values():
        if "version" in form:
            form["version"].data = str(shown.version)
    panel_drawing = drawing_of(shown.panel)
    return render_template(
        "nonconformity.html",
        one=shown,
        forms=forms,
        form=next(iter(tried.values()), None),
        panel_drawing=panel_drawing,
        spots=_spots(panel_drawing, shown.places),
        readings=work.readings_about(session, shown),
        linked=work.linked(session, shown),
        load=_load_of(shown.panel),
        again=successor(session, shown.panel),
        state=state_of(session, shown.panel, now()),
        plant=who.plant,
        units=who.plant.units,
    )


def _report_page(panel_id: int, form: Report) -> str:
    shown = find.panel(reading_session(), person(), panel_id)
    return render_template(
        "nonconformity_new.html", panel=shown, panel_drawing=drawing_of(shown), form=form, who=person()
    )


def _load_of(panel: Panel) -> Load | None:
    return reading_session().get(Load, panel.load_id) if panel.load_id is not None else None


def _spots(drawing: PanelDrawing, places: str) -> list[Spot]:
    """Where on the drawing the marked places are."""
    return [
        (MARGIN + mark.along / 1000 * drawing.length, MARGIN + (1 - mark.across / 1000) * drawing.width)
        for mark in parse_place_marks(places)
    ]
