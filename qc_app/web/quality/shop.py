"""The shop's people and instruments."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import PasswordField, SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.measure.length import Length, parse_length
from qc_app.plan.instrument import INSTRUMENT_KINDS, parse_uncertainty
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import instrument_word, role_word
from qc_app.work import find
from qc_app.work.instruments import add_instrument
from qc_app.work.people import add_person
from qc_app.work.roles import Act, Role

pages = Blueprint("shop", __name__)


class PersonForm(FlaskForm):
    """Somebody new."""

    name = StringField(_l("Name"), [InputRequired(_l("Enter the person's name."))])
    sign_in_name = StringField(_l("Sign-in name"), [InputRequired(_l("Choose a sign-in name."))])
    role = SelectField(_l("Role"))
    password = PasswordField(
        _l("First password"),
        [InputRequired(_l("Choose a password."))],
        description=_l("10 characters or more."),
    )


class InstrumentForm(FlaskForm):
    """An instrument."""

    kind = SelectField(_l("Kind"))
    name = StringField(_l("Name on the instrument"), [InputRequired(_l("Enter its name."))])
    uncertainty = StringField(
        _l("Standard uncertainty of a reading (optional)"),
        description=_l(
            "From its certificate, such as 1/64 in, 0.05 g or 1 %. Else the control plan's applies."
        ),
    )
    bore = StringField(_l("Inside diameter, for a core cutter"), description=_l("Such as 2 1/2"))


@pages.route("/person", methods=["GET", "POST"])
@allow(Act.KEEP_SHOP)
def people() -> str | Response:
    form = PersonForm()
    form.role.choices = [choice(role.value, role_word(role)) for role in Role]
    if form.validate_on_submit():
        try:
            with database().write() as session:
                add_person(
                    session,
                    person_in(session),
                    form.name.data or "",
                    form.sign_in_name.data or "",
                    form.role.data,
                    form.password.data or "",
                    now(),
                )
            return redirect(url_for("shop.people"))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return render_template("people.html", form=form, people=find.people(reading_session(), person()))


@pages.route("/instrument", methods=["GET", "POST"])
@allow(Act.KEEP_SHOP)
def instruments() -> str | Response:
    form = InstrumentForm()
    form.kind.choices = [choice(kind, instrument_word(kind)) for kind in INSTRUMENT_KINDS]
    if form.validate_on_submit():
        try:
            bore = _bore(form)
            with database().write() as session:
                add_instrument(
                    session,
                    person_in(session),
                    form.kind.data,
                    form.name.data or "",
                    bore,
                    now(),
                    _uncertainty(form),
                )
            return redirect(url_for("shop.instruments"))
        except Refusal as refusal:
            take_refusal(form, refusal, "bore")
    return render_template(
        "instruments.html",
        form=form,
        instruments=find.instruments(reading_session(), person()),
        instrument_word=instrument_word,
    )


def _uncertainty(form: InstrumentForm) -> int | None:
    typed = form.uncertainty.data or ""
    try:
        return parse_uncertainty(form.kind.data, typed) if typed.strip() else None
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about="uncertainty", **refusal.facts) from refusal


def _bore(form: InstrumentForm) -> Length | None:
    typed = form.bore.data or ""
    return parse_length(typed) if typed.strip() else None
