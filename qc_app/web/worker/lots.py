"""Booking in a lot of pre-cut members."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.measure.length import Length, parse_length
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work.roles import Act
from qc_app.work.schedule import book_in_lot
from qc_app.work.setup import plan_in_force

pages = Blueprint("lots", __name__)

SIZES = ("length", "width", "depth")


class LotForm(FlaskForm):
    """A lot: its mark and the nominal size of its members."""

    kind = SelectField(_l("Kind"))
    mark = StringField(_l("Lot mark"), [InputRequired(_l("Enter the mark on the lot."))])
    length = StringField(_l("Length of a member"), description=_l("Such as 8' or 92 5/8"))
    width = StringField(_l("Thickness"), description=_l("Such as 1 1/2"))
    depth = StringField(_l("Depth"), description=_l("Such as 11 1/4"))


@pages.route("/lot", methods=["GET", "POST"])
@allow(Act.BOOK_IN_LOTS)
def book_in() -> str | Response:
    form = LotForm()
    kinds = plan_in_force(reading_session(), person().plant, now()).plan.kinds
    form.kind.choices = [choice(kind.key, kind.name) for kind in kinds if kind.is_lot]
    if form.validate_on_submit():
        size = _size(form)
        if size is not None:
            try:
                with database().write() as session:
                    lot = book_in_lot(
                        session, person_in(session), form.kind.data, form.mark.data or "", size, now()
                    )
                    return redirect(url_for("buildings.lot", lot_id=lot.id))
            except Refusal as refusal:
                take_refusal(form, refusal, "mark")
    return render_template("lot_new.html", form=form, title=_("Book in a lot"))


def _size(form: LotForm) -> tuple[Length, Length, Length] | None:
    """The three lengths, or None after saying at each field what cannot be read."""
    read = []
    for name in SIZES:
        try:
            read.append(parse_length(form[name].data or ""))
        except Refusal as refusal:
            take_refusal(form, refusal, name)
    return (read[0], read[1], read[2]) if len(read) == len(SIZES) else None
