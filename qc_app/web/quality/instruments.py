"""The shop's instruments: what is known of each, its checks, and what was measured while it was wrong."""

from collections.abc import Callable
from functools import partial

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response
from wtforms import DateField, SelectField, StringField, TextAreaField
from wtforms.validators import InputRequired, Optional

from qc_app.measure.length import Length, parse_length
from qc_app.plan.instrument import (
    INSTRUMENT_KINDS,
    format_error,
    format_reading,
    parse_reading,
    parse_uncertainty,
)
from qc_app.plan.permitted_error import ACCURACY_CLASSES, class_uncertainty
from qc_app.records.shop import Instrument, Person
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import instrument_word
from qc_app.work import find
from qc_app.work import instruments as work
from qc_app.work.gauge_study import read_study, uncertainty_of_study
from qc_app.work.hold import hold as find_hold
from qc_app.work.hold import lift_hold
from qc_app.work.instrument_checks import CALIBRATION, check, checks_of, found_wrong
from qc_app.work.instrument_holds import open_holds_by_panel
from qc_app.work.instrument_trust import newest_window, readings_in, trust_of
from qc_app.work.instruments import Details, instrument_of
from qc_app.work.released import released
from qc_app.work.roles import Act

pages = Blueprint("instruments", __name__)

Deed = Callable[[Session, Person, Instrument], object]


class DetailsForm(FlaskForm):
    """What is known of an instrument's accuracy."""

    accuracy_class = SelectField(_l("Accuracy class"), default="")
    graduation = StringField(
        _l("Graduation"), description=_l("The smallest step it shows, such as 1/32 in, 0.1 g or 0.1 %.")
    )
    uncertainty = StringField(
        _l("Standard uncertainty of a reading (optional)"),
        description=_l(
            "From its certificate, such as 1/64 in, 0.05 g or 1 %. Else it is worked out from what follows, "
            "or the control plan's applies."
        ),
    )
    largest = StringField(
        _l("Largest reading, to work it out from its class"),
        description=_l("Such as 24' for a tape, or 30 kg for a scale."),
    )
    study = TextAreaField(
        _l("Or a gauge study with it"),
        description=_l("One line for each reading: part; person; reading. All parts, all equally often."),
    )
    certificate = StringField(_l("Certificate"))
    due_on = DateField(_l("To be calibrated by"), [Optional()])


class InstrumentForm(DetailsForm):
    """A new instrument."""

    kind = SelectField(_l("Kind"))
    name = StringField(_l("Name on the instrument"), [InputRequired(_l("Enter its name."))])
    bore = StringField(_l("Inside diameter, for a core cutter"), description=_l("Such as 2 1/2"))


class ReasonForm(FlaskForm):
    """Why something is done."""

    reason = StringField(_l("Why"), [InputRequired(_l("Say why in a few words."))])


class CalibrationForm(FlaskForm):
    """One check at a calibration."""

    reference = StringField(_l("The reference is"))
    read = StringField(_l("The instrument reads"), [InputRequired(_l("Enter what it reads."))])
    remark = StringField(_l("Remark (optional)"))


@pages.get("/instrument")
@allow(Act.SEE_INSTRUMENTS)
def overview() -> str:
    """All instruments in use."""
    return _overview(_instrument_form())


@pages.post("/instrument")
@allow(Act.KEEP_SHOP)
def add() -> str | Response:
    """Adds one."""
    form = _instrument_form()
    if form.validate_on_submit():
        try:
            bore, details = _bore(form), _details(form, form.kind.data)
            with database().write() as session:
                work.add_instrument(
                    session, person_in(session), form.kind.data, form.name.data or "", bore, now(), details
                )
            return redirect(url_for("instruments.overview"))
        except Refusal as refusal:
            take_refusal(form, _named(refusal), "bore")
    return _overview(form)


@pages.get("/instrument/<int:instrument_id>")
@allow(Act.SEE_INSTRUMENTS)
def one(instrument_id: int) -> str:
    """One instrument: its checks, and the panels in doubt."""
    return _page(instrument_id)


@pages.post("/instrument/<int:instrument_id>/change")
@allow(Act.KEEP_SHOP)
def change(instrument_id: int) -> str | Response | tuple[str, int]:
    """Writes down anew what is known of it."""
    form = _details_form(_found(instrument_id))

    def write(session: Session, by: Person, instrument: Instrument) -> None:
        work.change_instrument(session, by, instrument, _details(form, instrument.kind), now())

    return _do(instrument_id, "change", form, write)


@pages.post("/instrument/<int:instrument_id>/retire")
@allow(Act.KEEP_SHOP)
def retire(instrument_id: int) -> str | Response | tuple[str, int]:
    """Takes it out of use."""
    form = ReasonForm(prefix="retire")

    def write(session: Session, by: Person, instrument: Instrument) -> None:
        work.retire_instrument(session, by, instrument, form.reason.data or "", now())

    return _do(instrument_id, "retire", form, write)


@pages.post("/instrument/<int:instrument_id>/calibrate")
@allow(Act.LIFT_HOLD)
def calibrate(instrument_id: int) -> str | Response | tuple[str, int]:
    """Writes down a check made at a calibration."""
    form = CalibrationForm(prefix="calibrate")

    def write(session: Session, by: Person, instrument: Instrument) -> None:
        reference = (form.reference.data or "").strip()
        against = _amount(instrument.kind, "reference", reference) if reference else None
        read = _amount(instrument.kind, "read", form.read.data or "")
        check(session, by, instrument, CALIBRATION, against, read, form.remark.data or "", now())

    return _do(instrument_id, "calibrate", form, write)


@pages.post("/instrument/<int:instrument_id>/wrong")
@allow(Act.LIFT_HOLD)
def wrong(instrument_id: int) -> str | Response | tuple[str, int]:
    """Somebody found it wrong without measuring."""
    form = ReasonForm(prefix="wrong")

    def write(session: Session, by: Person, instrument: Instrument) -> None:
        found_wrong(session, by, instrument, form.reason.data or "", now())

    return _do(instrument_id, "wrong", form, write)


@pages.post("/instrument/<int:instrument_id>/lift/<int:hold_id>")
@allow(Act.LIFT_HOLD)
def lift(instrument_id: int, hold_id: int) -> str | Response | tuple[str, int]:
    """Lifts the hold of one panel with a reason."""
    form = ReasonForm()

    def write(session: Session, by: Person, _instrument: Instrument) -> None:
        lift_hold(session, by, find_hold(session, by, hold_id), form.reason.data or "", now())

    return _do(instrument_id, f"lift-{hold_id}", form, write)


def _overview(form: InstrumentForm) -> str:
    session = reading_session()
    known = find.instruments(session, person())
    trust = trust_of(session, person().plant, known, now())
    return render_template("instruments.html", form=form, instruments=known, trust=trust)


def _instrument_form() -> InstrumentForm:
    form = InstrumentForm()
    form.kind.choices = [choice(kind, instrument_word(kind)) for kind in INSTRUMENT_KINDS]
    _offer_classes(form, tuple(dict.fromkeys(c for known in ACCURACY_CLASSES.values() for c in known)))
    return form


def _do(instrument_id: int, name: str, form: FlaskForm, deed: Deed) -> str | Response | tuple[str, int]:
    """Does what a form of the page asks, and shows the page again with what was wrong with it."""
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                deed(session, by, instrument_of(session, by, instrument_id))
            return redirect(url_for("instruments.one", instrument_id=instrument_id))
        except Refusal as refusal:
            take_refusal(form, _named(refusal))
    return _page(instrument_id, {name: form}), 400


def _page(instrument_id: int, tried: dict[str, FlaskForm] | None = None) -> str:
    session, instrument = reading_session(), _found(instrument_id)
    units = person().plant.units
    window = newest_window(session, instrument.id)
    readings = readings_in(session, instrument.id, window) if window else []
    panels = {r.panel.id: r.panel for r in readings if r.panel}
    forms = {
        "change": _details_form(instrument),
        "retire": ReasonForm(formdata=None, prefix="retire"),
        "wrong": ReasonForm(formdata=None, prefix="wrong"),
        "calibrate": CalibrationForm(formdata=None, prefix="calibrate"),
        **(tried or {}),
    }
    return render_template(
        "instrument.html",
        instrument=instrument,
        reading_of=partial(format_reading, instrument.kind, units=units),
        error_of=partial(format_error, instrument.kind, units=units),
        trust=trust_of(session, person().plant, [instrument], now())[instrument.id],
        checks=checks_of(session, instrument),
        window=window,
        readings=readings,
        holds=open_holds_by_panel(session, instrument),
        released={n for n, panel in panels.items() if released(session, panel) is not None},
        forms=forms,
        form=next(iter((tried or {}).values()), None),
    )


def _found(instrument_id: int) -> Instrument:
    return instrument_of(reading_session(), person(), instrument_id)


def _details_form(instrument: Instrument) -> DetailsForm:
    shown = {
        "accuracy_class": instrument.accuracy_class,
        "certificate": instrument.certificate,
        "due_on": instrument.due_on,
    }
    form = DetailsForm(data=shown)
    _offer_classes(form, ACCURACY_CLASSES.get(instrument.kind, ()))
    return form


def _offer_classes(form: DetailsForm, known: tuple[str, ...]) -> None:
    form.accuracy_class.choices = [choice("", _l("none")), *(choice(name, name) for name in known)]


def _details(form: DetailsForm, kind: str) -> Details:
    graduation = _optional(kind, "graduation", form.graduation.data)
    return Details(
        _uncertainty(form, kind, graduation),
        form.accuracy_class.data or "",
        graduation,
        (form.certificate.data or "").strip(),
        form.due_on.data,
    )


def _uncertainty(form: DetailsForm, kind: str, graduation: int | None) -> int | None:
    """As the certificate says, or from a gauge study, or from the class."""
    stated = _optional(kind, "uncertainty", form.uncertainty.data)
    if stated is not None:
        return stated
    if (form.study.data or "").strip():
        return uncertainty_of_study(read_study(kind, form.study.data or ""))
    largest = _optional(kind, "largest", form.largest.data)
    if largest is None:
        return None
    return class_uncertainty(kind, form.accuracy_class.data or "", graduation, largest)


def _optional(kind: str, about: str, typed: str | None) -> int | None:
    if not (typed or "").strip():
        return None
    try:
        return parse_uncertainty(kind, typed or "")
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about=about, **refusal.facts) from refusal


def _amount(kind: str, about: str, typed: str) -> int:
    try:
        return parse_reading(kind, typed)
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about=about, **refusal.facts) from refusal


def _bore(form: InstrumentForm) -> Length | None:
    typed = form.bore.data or ""
    return parse_length(typed) if typed.strip() else None


def _named(refusal: Refusal) -> Refusal:
    """The same, about the field of the form rather than the column."""
    about = "uncertainty" if refusal.about == "standard_uncertainty" else refusal.about
    return Refusal(refusal.sentence, about=about, **refusal.facts)
