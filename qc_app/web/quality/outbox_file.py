"""Handing in the file of an outbox whose tablet cannot reach the server."""

from flask import Blueprint, render_template
from flask_babel import gettext as _
from flask_babel import lazy_gettext as _l
from flask_wtf import FlaskForm
from flask_wtf.file import FileField, FileRequired

from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, photo_store
from qc_app.web.worker.outbox import answered
from qc_app.work.outbox.file import read_file, take_file
from qc_app.work.roles import Act

pages = Blueprint("outbox_file", __name__)


class OutboxFileForm(FlaskForm):
    """The file that a tablet saved."""

    file = FileField(_l("File"), [FileRequired(_l("Choose the file that the tablet saved."))])


@pages.route("/outbox/file", methods=["GET", "POST"])
@allow(Act.IMPORT_OUTBOX)
def take_in() -> str | tuple[str, int]:
    """Takes the entries of a file, and says what became of each."""
    form, answers = OutboxFileForm(), None
    if form.validate_on_submit():
        try:
            file = read_file(form.file.data.read())
            answers = answered(take_file(database(), photo_store(), person().id, file, now()))
        except Refusal as refusal:
            take_refusal(form, refusal, "file")
    page = render_template(
        "outbox_file.html", title=_("Hand in the file of an outbox"), form=form, answers=answers
    )
    return (page, 400) if form.errors else page
