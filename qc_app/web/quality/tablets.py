"""The shop's tablets: invited, moved, revoked."""

import segno
from flask import Blueprint, current_app, redirect, render_template, request, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from markupsafe import Markup
from werkzeug.wrappers import Response
from wtforms import SelectField, StringField
from wtforms.validators import InputRequired

from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.choice import choice
from qc_app.web.form_errors import take_refusal
from qc_app.web.plan_words import plan_word
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find, tablets
from qc_app.work.roles import Act

pages = Blueprint("tablets", __name__)

QUIET_ZONE = 4
"""Modules of white that a reader needs around the code (ISO/IEC 18004)."""


class PlaceForm(FlaskForm):
    """What a tablet is called and where it stands."""

    name = StringField(
        _l("Name on the tablet"),
        [InputRequired(_l("Enter the name that is written on the tablet."))],
        description=_l("Such as Tablet 2"),
    )
    station = SelectField(_l("Station"))


class InviteForm(PlaceForm):
    """A new tablet."""

    key_size = SelectField(
        _l("Kind of tablet"),
        choices=[choice(str(size), name) for name, size in tablets.KEY_SIZES.items()],
        description=_l("So that a key is 20 mm wide on its glass."),
    )


@pages.route("/tablets", methods=["GET", "POST"])
@allow(Act.KEEP_TABLETS)
def overview() -> str | Response:
    """All tablets, and the form that invites one more."""
    form = InviteForm()
    _offer_stations(form)
    if form.validate_on_submit():
        try:
            return _invite(form)
        except Refusal as refusal:
            take_refusal(form, refusal, "name")
    listed = tablets.tablets(reading_session(), person())
    return render_template("tablets.html", title=_("Tablets"), form=form, lines=listed)


@pages.route("/tablets/<int:tablet_id>", methods=["GET", "POST"])
@allow(Act.KEEP_TABLETS)
def tablet(tablet_id: int) -> str | Response:
    """One tablet: its name and station, a new code for it, and an end to it."""
    shown = find.tablet(reading_session(), person(), tablet_id)
    form = PlaceForm(data={"name": shown.name, "station": shown.station.key})
    _offer_stations(form)
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                station = find.station(session, by, form.station.data)
                moved = find.tablet(session, by, tablet_id)
                tablets.move(session, by, moved, form.name.data or "", station, now())
            return redirect(url_for("tablets.overview"))
        except Refusal as refusal:
            take_refusal(form, refusal, "name")
    return render_template("tablet.html", title=shown.name, form=form, tablet=shown)


@pages.post("/tablets/<int:tablet_id>/invite")
@allow(Act.KEEP_TABLETS)
def invite_again(tablet_id: int) -> str:
    """A new code for a tablet."""
    with database().write() as session:
        by = person_in(session)
        invited = find.tablet(session, by, tablet_id)
        return _shown(invited, tablets.invite_again(session, by, invited, now()))


@pages.post("/tablets/<int:tablet_id>/revoke")
@allow(Act.KEEP_TABLETS)
def revoke(tablet_id: int) -> Response:
    """Shuts a tablet out."""
    with database().write() as session:
        by = person_in(session)
        tablets.revoke(session, by, find.tablet(session, by, tablet_id), now())
    return redirect(url_for("tablets.overview"))


def _invite(form: InviteForm) -> str:
    with database().write() as session:
        by = person_in(session)
        station = find.station(session, by, form.station.data)
        size = int(form.key_size.data)
        return _shown(*tablets.invite(session, by, form.name.data or "", station, size, now()))


def _shown(tablet: Tablet, code: str) -> str:
    """The page with the code, which nothing else ever shows again."""
    scheme = "https" if current_app.config["SESSION_COOKIE_SECURE"] else request.scheme
    address = url_for("tablet.ask", code=code, _external=True, _scheme=scheme)
    drawn = segno.make_qr(address, error="m").svg_inline(
        scale=6, border=QUIET_ZONE, svgclass=None, lineclass=None, title=_("Code that enrols this tablet")
    )
    return render_template(
        "tablet_invite.html",
        title=_("Enrol %(name)s", name=tablet.name),
        tablet=tablet,
        address=address,
        code=Markup(drawn),  # noqa: S704 (drawn from modules; the title is ours)
    )


def _offer_stations(form: PlaceForm) -> None:
    form.station.choices = [
        choice(s.key, plan_word(s.name)) for s in find.stations(reading_session(), person())
    ]
