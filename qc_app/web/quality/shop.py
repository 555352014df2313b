"""The shop's people and instruments."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response
from wtforms import PasswordField, SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.measure.length import Length, parse_length
from qc_app.plan.instrument import INSTRUMENT_KINDS, parse_uncertainty
from qc_app.records.building import Building
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import instrument_word, role_word
from qc_app.work import find
from qc_app.work.instruments import add_instrument
from qc_app.work.people import add_person, change_person
from qc_app.work.roles import MAY, Act, Role

pages = Blueprint("shop", __name__)


class PersonForm(FlaskForm):
    """Somebody new."""

    name = StringField(_l("Name"), [InputRequired(_l("Enter the person's name."))])
    sign_in_name = StringField(_l("Sign-in name"), [InputRequired(_l("Choose a sign-in name."))])
    role = SelectField(_l("Role"))
    building = SelectField(_l("Building, for a customer or site crew lead"))
    password = PasswordField(
        _l("First password"),
        [InputRequired(_l("Choose a password."))],
        description=_l("10 characters or more."),
    )


class RoleForm(FlaskForm):
    """What somebody is from now on."""

    role = SelectField(_l("Role"))
    building = SelectField(_l("Building, for a customer or site crew lead"))
    active = SelectField(
        _l("Signing in"), choices=[choice("yes", _l("May sign in")), choice("no", _l("Shut out"))]
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
    _offer_roles(form)
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
                    _building(session, form),
                )
            return redirect(url_for("shop.people"))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return render_template(
        "people.html",
        form=form,
        people=find.people(reading_session(), person()),
        building_codes={b.id: b.code for b in find.buildings(reading_session(), person())},
        pin_roles=MAY[Act.RECORD],
    )


@pages.route("/person/<int:person_id>", methods=["GET", "POST"])
@allow(Act.KEEP_SHOP)
def role(person_id: int) -> str | Response:
    """What somebody is: role, building, and whether they may sign in."""
    somebody = find.person(reading_session(), person(), person_id)
    form = RoleForm(
        data={
            "role": somebody.role,
            "building": str(somebody.building_id or ""),
            "active": "yes" if somebody.active else "no",
        }
    )
    _offer_roles(form)
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                change_person(
                    session,
                    by,
                    find.person(session, by, person_id),
                    form.role.data,
                    _building(session, form),
                    form.active.data == "yes",
                    now(),
                )
            return redirect(url_for("shop.people"))
        except Refusal as refusal:
            take_refusal(form, refusal, "role")
    return render_template("person.html", form=form, title=somebody.name, somebody=somebody)


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


def _offer_roles(form: PersonForm | RoleForm) -> None:
    form.role.choices = [choice(role.value, role_word(role)) for role in Role]
    buildings = find.buildings(reading_session(), person())
    form.building.choices = [choice("", _l("none"))]
    form.building.choices += [choice(str(b.id), f"{b.code} · {b.name}") for b in buildings]


def _building(session: Session, form: PersonForm | RoleForm) -> Building | None:
    chosen = form.building.data
    return find.building(session, person_in(session), int(chosen)) if chosen else None


def _uncertainty(form: InstrumentForm) -> int | None:
    typed = form.uncertainty.data or ""
    try:
        return parse_uncertainty(form.kind.data, typed) if typed.strip() else None
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about="uncertainty", **refusal.facts) from refusal


def _bore(form: InstrumentForm) -> Length | None:
    typed = form.bore.data or ""
    return parse_length(typed) if typed.strip() else None
