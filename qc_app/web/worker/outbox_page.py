"""The outbox in words: what waits on this tablet, what needs attention, and ways out without a network."""

from flask import Blueprint, render_template

from qc_app.web.access import allow
from qc_app.work.roles import Act

pages = Blueprint("outbox_page", __name__)


@pages.get("/outbox")
@allow(Act.RECORD, tablets=True)
def outbox() -> str:
    """The page, the same for everybody: what it shows comes from the tablet's own memory."""
    return render_template("outbox.html")
