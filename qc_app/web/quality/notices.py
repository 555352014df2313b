"""What the shop lead has to be told, in sentences, with what to do about it."""

from flask import Blueprint, redirect, render_template, url_for
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from werkzeug.wrappers import Response
from wtforms import StringField
from wtforms.validators import InputRequired

from qc_app.phrase import phrase
from qc_app.records.tablet import Notice
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.language import said, say
from qc_app.web.request import database, now, person, person_in, reading_session, signed_in
from qc_app.work import notices as work
from qc_app.work.outbox.answer import Sentence
from qc_app.work.roles import Act

pages = Blueprint("notices", __name__)

WORDS = {
    work.CLOCK: (
        phrase(
            "The clock of {tablet} is {minutes} minutes off. Times of its readings are corrected by that."
        ),
        phrase("Set its date and time to automatic. This notice closes by itself once the clock is right."),
    ),
    work.GAP: (
        phrase("From {tablet} these entries have not come, though later ones have: {numbers}."),
        phrase(
            "Open the outbox on that tablet and send them, or save them to a file and hand it in here. "
            "This notice closes by itself once they have come."
        ),
    ),
    work.MEMORY: (
        phrase("The memory of {tablet} was emptied; entries after number {received} may be missing."),
        phrase("Ask who worked there what they measured last, and have it measured again where in doubt."),
    ),
    work.AFTER_RELEASE: (
        phrase("Readings of {mark} in building {building} came after its release on {released}."),
        phrase("Look at them, and decide whether the panel may stay as it is."),
    ),
    work.INSTRUMENT_OVERDUE: (
        phrase("Readings were taken with {instrument}, which should have been calibrated by {since}."),
        phrase("Have it calibrated and enter its new date, or take it out of use."),
    ),
    work.INSTRUMENT_DOUBTED: (
        phrase("Readings were taken with {instrument} although it failed its check on {since}."),
        phrase("Take it from the stations, and have those panels measured again with a good one."),
    ),
    work.INSTRUMENT_FAILED: (
        phrase(
            "{instrument} was found wrong: {by}. Panels measured with it since its last good check: {panels}."
        ),
        phrase(
            "They are held unless they have left. On the instrument's page see which, have them measured "
            "again, or lift a hold with a reason."
        ),
    ),
    work.RELEASED_IN_DOUBT: (
        phrase("{mark} in building {building} is released, but was measured with {instrument}, found wrong."),
        phrase("Look at its readings, measure again if it is still here, and tell the site if it is not."),
    ),
    work.RELEASE_WITHDRAWN: (
        phrase("{who} withdrew the release of {mark} in building {building}: “{reason}”"),
        phrase("Stop it where it is: in the yard, on the load, or on site. Then put it right."),
    ),
    work.PACKET_OUTDATED: (
        phrase(
            "{name} has a handover packet of building {building}. The release of {mark} was withdrawn since: "
            "“{reason}”"
        ),
        phrase("Tell them, and hand over a new packet once it is released again."),
    ),
    work.WET_LOT: (
        phrase("Lot {lot} went into {mark} although it came in at {moisture}; the limit is {limit}."),
        phrase("Measure its moisture again before the panel is closed, and decide whether it may stay."),
    ),
}
"""What happened, and what to do."""

HELD_AFTER_RELEASE = (
    phrase(
        "{mark} in building {building} was released on {released}; readings that came since hold it: {held}"
    ),
    phrase("Stop it in the yard, on the load, or on site. Withdraw its release, then put it right."),
)


class RemarkForm(FlaskForm):
    """What was done about a notice."""

    remark = StringField(_l("What was done or found"), [InputRequired(_l("Say what was done or found."))])


@pages.get("/notices")
@allow(Act.CLOSE_NOTICES)
def notices() -> str:
    """The open notices, newest first."""
    return _page(RemarkForm(), None)


@pages.post("/notices/<int:notice_id>")
@allow(Act.CLOSE_NOTICES)
def close(notice_id: int) -> str | Response | tuple[str, int]:
    """Closes a notice with a remark."""
    form = RemarkForm()
    if form.validate_on_submit():
        try:
            with database().write() as session:
                work.close_notice(session, person_in(session), notice_id, form.remark.data or "", now())
            return redirect(url_for("notices.notices"))
        except Refusal as refusal:
            if refusal.about is None:
                raise
            take_refusal(form, refusal, "remark")
    return _page(form, notice_id), 400


@pages.app_template_global()
def waiting_notices() -> int:
    """How many notices are open where somebody is signed in."""
    somebody = signed_in()
    return work.count_open(reading_session(), somebody) if somebody else 0


def _page(form: RemarkForm, tried: int | None) -> str:
    listed = [(notice, *_said(notice)) for notice in work.open_notices(reading_session(), person())]
    return render_template("notices.html", title=_("Notices"), form=form, listed=listed, tried=tried)


def _said(notice: Notice) -> tuple[str, str]:
    happened, to_do = WORDS[notice.about]
    if notice.about == work.AFTER_RELEASE and notice.facts.get("held"):
        happened, to_do = HELD_AFTER_RELEASE
    numbers = ", ".join(str(number) for number in notice.facts.get("numbers", ()))
    held = " ".join(said(Sentence(**sentence)) for sentence in notice.facts.get("held", ()))
    facts = {**notice.facts, "numbers": numbers, "held": held, "minutes": abs(notice.facts.get("minutes", 0))}
    return say(Refusal(happened, **facts)), _(to_do)
