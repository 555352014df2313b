"""Whether a release stands: for anybody who holds a packet. Names the panel and the building, and nobody."""

import re

from flask import Blueprint, render_template
from flask_babel import gettext as _

from qc_app.web.access import allow_anybody
from qc_app.web.request import reading_session
from qc_app.work.release import by_hash

pages = Blueprint("verify", __name__)

_SHA256 = re.compile(r"[0-9a-f]{64}", re.ASCII)


@pages.get("/verify/<sha256>")
@allow_anybody()
def release(sha256: str) -> tuple[str, int]:
    """Released on, withdrawn on, or unknown."""
    found = by_hash(reading_session(), sha256) if _SHA256.fullmatch(sha256) else None
    shown = render_template("verify.html", title=_("Is this release valid?"), found=found, sha256=sha256)
    return shown, 200 if found else 404
