"""Signing in and out, and where each role starts."""

from flask import Blueprint, redirect, render_template, request, url_for
from flask import session as cookie
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import PasswordField, StringField
from wtforms.validators import InputRequired

from qc_app.web.access import allow, allow_anybody
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, reading_session, tablet
from qc_app.web.way_back import way_back
from qc_app.work import sign_in as work
from qc_app.work.pins import note_sign_in
from qc_app.work.roles import Act, Role
from qc_app.work.setup import is_set_up

pages = Blueprint("sign_in", __name__)

START = {
    Role.WORKER: "station.choose",
    Role.LEAD: "board.board",
    Role.QUALITY_MANAGER: "board.board",
    Role.SITE_LEAD: "site.home",
    Role.CUSTOMER: "proof.home",
    Role.ADMINISTRATOR: "shop.people",
}
"""Where each role starts."""


class SignInForm(FlaskForm):
    """Name and password. Pasting and password managers work."""

    sign_in_name = StringField(_l("Sign-in name"), [InputRequired(_l("Enter your sign-in name."))])
    password = PasswordField(_l("Password"), [InputRequired(_l("Enter your password."))])


@pages.get("/")
@allow(Act.VISIT)
def home() -> Response:
    return redirect(url_for(START[Role(person().role)]))


@pages.route("/sign-in", methods=["GET", "POST"])
@allow_anybody()
def sign_in() -> str | Response:
    if not is_set_up(reading_session()):
        return redirect(url_for("setup.set_up"))
    form = SignInForm()
    if form.validate_on_submit():
        try:
            token = work.sign_in(
                database(),
                form.sign_in_name.data or "",
                form.password.data or "",
                request.remote_addr or "",
                now(),
            )
        except work.SignInRefused as refusal:
            take_refusal(form, refusal, "sign_in_name")
        else:
            _begin(token)
            _note_tablet(token)
            return redirect(way_back(request.args.get("next", "")))
    return render_template("sign_in.html", form=form, title=_("Sign in"))


@pages.post("/sign-out")
@allow(Act.VISIT)
def sign_out() -> Response:
    with database().write() as session:
        work.sign_out(session, cookie["token"], now())
    station = cookie.get("station")
    cookie.clear()
    if station:
        cookie["station"] = station
        cookie.permanent = True
    return redirect(url_for("sign_in.sign_in"))


def _begin(token: str) -> None:
    """A fresh cookie for a fresh sign-in; only the tablet's station stays."""
    station = cookie.get("station")
    cookie.clear()
    cookie["token"] = token
    cookie.permanent = True
    if station:
        cookie["station"] = station


def _note_tablet(token: str) -> None:
    """A password proves on an enrolled tablet at least what a PIN does."""
    there = tablet()
    if there is not None:
        with database().write() as session:
            somebody = work.who(session, token, now())
            if somebody is not None and somebody.plant_id == there.plant_id:
                note_sign_in(session, there.id, somebody.id, now())
