"""Letting a panel leave, and taking that back."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import StringField

from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.work import find
from qc_app.work import release as work
from qc_app.work.history import acts_of
from qc_app.work.released import released, releases_of
from qc_app.work.roles import Act
from qc_app.work.state import missing_for_release, state_of

pages = Blueprint("releases", __name__)


class ReleaseForm(FlaskForm):
    """Nothing to fill in: whoever presses the button is who releases."""


class WithdrawForm(FlaskForm):
    """Why a release is taken back."""

    reason = StringField(
        _l("Why the release is withdrawn"),
        description=_l("A notice names everybody who took a handover packet of this building."),
    )


@pages.get("/panel/<int:panel_id>/release")
@allow(Act.LOOK)
def panel(panel_id: int) -> str:
    """What is missing before a panel may leave, or how and when it was released."""
    return _page(panel_id, WithdrawForm(formdata=None))


@pages.post("/panel/<int:panel_id>/release")
@allow(Act.RELEASE)
def release(panel_id: int) -> Response | tuple[str, int]:
    """Lets a panel leave."""
    form = ReleaseForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                work.release(session, by, find.panel(session, by, panel_id), now())
            return redirect(url_for("releases.panel", panel_id=panel_id))
        except Refusal as refusal:
            # What is missing stands on the page in full.
            if not isinstance(refusal, work.NotProven):
                take_refusal(form, refusal)
    return _page(panel_id, form), 400


@pages.post("/panel/<int:panel_id>/release/<int:release_id>/withdraw")
@allow(Act.RELEASE)
def withdraw(panel_id: int, release_id: int) -> Response | tuple[str, int]:
    """Takes a release back."""
    form = WithdrawForm()
    find.panel(reading_session(), person(), panel_id)
    if form.validate_on_submit():
        try:
            with database().write() as session:
                by = person_in(session)
                shown = find.panel(session, by, panel_id)
                made = work.find_release(session, by, shown, release_id)
                work.withdraw(session, by, made, form.reason.data or "", now())
            return redirect(url_for("releases.panel", panel_id=panel_id))
        except Refusal as refusal:
            take_refusal(form, refusal, "reason")
    return _page(panel_id, form), 400


def _page(panel_id: int, form: FlaskForm) -> str:
    session = reading_session()
    session.rollback()  # to see what others wrote since this request began
    shown = find.panel(session, person(), panel_id)
    made = released(session, shown)
    return render_template(
        "release.html",
        title=shown.mark,
        panel=shown,
        form=form,
        withdrawing=form if isinstance(form, WithdrawForm) else WithdrawForm(formdata=None),
        released=made,
        state=state_of(session, shown, now()),
        acts=acts_of(session, shown),
        missing=[] if made else missing_for_release(session, shown, now()),
        earlier=[one for one in releases_of(session, shown) if one.withdrawal is not None],
    )
