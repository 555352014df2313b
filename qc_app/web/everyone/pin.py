"""PINs: one's own, and for the quality manager everybody's."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import PasswordField
from wtforms.validators import InputRequired

from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find
from qc_app.work.pins import set_pin
from qc_app.work.roles import Act

pages = Blueprint("pin", __name__)


class PinForm(FlaskForm):
    """A new PIN."""

    pin = PasswordField(
        _l("New PIN"),
        [InputRequired(_l("Enter 4 to 8 digits."))],
        description=_l("4 to 8 digits. It works on the shop's tablets only."),
        render_kw={"inputmode": "numeric", "autocomplete": "new-password"},
    )


@pages.route("/pin", methods=["GET", "POST"])
@allow(Act.RECORD)
def mine() -> str | Response:
    """One's own PIN."""
    return _set(person(), _("My PIN"), url_for("sign_in.home"))


@pages.route("/person/<int:person_id>/pin", methods=["GET", "POST"])
@allow(Act.KEEP_SHOP)
def of_person(person_id: int) -> str | Response:
    """Somebody's PIN."""
    somebody = find.person(reading_session(), person(), person_id)
    return _set(somebody, _("PIN of %(name)s", name=somebody.name), url_for("shop.people"))


def _set(somebody: Person, title: str, back: str) -> str | Response:
    form = PinForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                whose = session.get_one(Person, somebody.id)
                set_pin(session, person_in(session), whose, form.pin.data or "", now())
            return redirect(back)
        except Refusal as refusal:
            take_refusal(form, refusal, "pin")
    return render_template("pin.html", form=form, title=title, has_pin=somebody.pin_hash is not None)
