"""The first page of a new log: the plant and its first quality manager."""

from zoneinfo import available_timezones

from flask import Blueprint, redirect, render_template, url_for
from flask import session as cookie
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import PasswordField, SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.refusal import Refusal
from qc_app.web.access import allow_anybody
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, reading_session
from qc_app.work import setup
from qc_app.work.sign_in import open_sign_in

pages = Blueprint("setup", __name__)


class SetupForm(FlaskForm):
    """What a new log needs to know."""

    plant_name = StringField(_l("Name of the plant"), [InputRequired(_l("Enter the plant's name."))])
    units = SelectField(
        _l("Units on the tapes"),
        choices=[
            choice("imperial 16", _l("Feet and inches, to 1/16")),
            choice("imperial 32", _l("Feet and inches, to 1/32")),
            choice("metric 16", _l("Millimetres")),
        ],
    )
    time_zone = SelectField(
        _l("Time zone"),
        choices=[choice(name, name) for name in sorted(available_timezones())],
        default="America/New_York",
    )
    manager_name = StringField(
        _l("Name of the quality manager"), [InputRequired(_l("Enter the quality manager's name."))]
    )
    sign_in_name = StringField(_l("Sign-in name"), [InputRequired(_l("Choose a sign-in name."))])
    password = PasswordField(
        _l("Password"),
        [InputRequired(_l("Choose a password."))],
        description=_l("10 characters or more. Several words are easiest to remember."),
    )


@pages.route("/setup", methods=["GET", "POST"])
@allow_anybody()
def set_up() -> str | Response:
    if setup.is_set_up(reading_session()):
        return redirect(url_for("sign_in.home"))
    form = SetupForm()
    if form.validate_on_submit():
        try:
            cookie["token"] = _set_up(form)
            cookie.permanent = True
            return redirect(url_for("files.files"))
        except Refusal as refusal:
            take_refusal(form, refusal)
    return render_template("setup.html", form=form, title=_("Set up this log"))


def _set_up(form: SetupForm) -> str:
    system, denominator = form.units.data.split()
    with database().write() as session:
        manager = setup.set_up(
            session,
            plant_name=form.plant_name.data or "",
            system=system,
            denominator=int(denominator),
            time_zone=form.time_zone.data,
            manager_name=form.manager_name.data or "",
            sign_in_name=form.sign_in_name.data or "",
            password=form.password.data or "",
            now=now(),
        )
        return open_sign_in(session, manager.id, now())
