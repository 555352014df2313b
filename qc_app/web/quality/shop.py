"""The shop's people."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response
from wtforms import PasswordField, SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.records.building import Building
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import role_word
from qc_app.work import find
from qc_app.work.people import add_person, change_person
from qc_app.work.roles import MAY, Act, Role

pages = Blueprint("shop", __name__)


class PersonForm(FlaskForm):
    """Somebody new."""

    name = StringField(_l("Name"), [InputRequired(_l("Enter the person's name."))])
    sign_in_name = StringField(_l("Sign-in name"), [InputRequired(_l("Choose a sign-in name."))])
    role = SelectField(_l("Role"))
    building = SelectField(_l("Building, for a customer or site crew lead"), default="")
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


def _offer_roles(form: PersonForm | RoleForm) -> None:
    form.role.choices = [choice(role.value, role_word(role)) for role in Role]
    buildings = find.buildings(reading_session(), person())
    form.building.choices = [choice("", _l("none"))]
    form.building.choices += [choice(str(b.id), f"{b.code} · {b.name}") for b in buildings]


def _building(session: Session, form: PersonForm | RoleForm) -> Building | None:
    chosen = form.building.data
    return find.building(session, person_in(session), int(chosen)) if chosen else None
