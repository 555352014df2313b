"""The board: where the shop lead and the quality manager start, kept up to date by its own script."""

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta

from flask import Blueprint, Response, get_template_attribute, render_template, request, url_for
from flask_babel import get_locale, ngettext
from flask_babel import gettext as _
from markupsafe import Markup

from qc_app.records.nonconformity import Nonconformity
from qc_app.records.shop import Plant
from qc_app.web.access import allow
from qc_app.web.lead.sparkline import sparkline
from qc_app.web.request import now, person, reading_session
from qc_app.web.show import local_time
from qc_app.work import board as work
from qc_app.work.board import Board
from qc_app.work.roles import Act
from qc_app.work.state import Held, PanelState

pages = Blueprint("board", __name__)

PARTS = ("to_know", "truck", "held", "stations", "charts", "nonconformities")
"""What is kept up to date apart, in the order of the page; each is a macro of ``board_parts.html``."""

AS_OF = "X-As-Of"
"""The time of the board on the plant's clock; also of one that has not changed since."""


@dataclass(frozen=True)
class Part:
    """One part as it is shown, and a name for exactly this content."""

    name: str
    content: Markup
    version: str


@pages.get("/board")
@allow(Act.FOLLOW_BOARD)
def board() -> str:
    """The whole board."""
    shown = work.board(reading_session(), person(), now())
    parts = _parts(shown)
    return render_template(
        "board.html", parts=parts, version=_version(parts), as_of=_clock(shown), counts=_counts(shown)
    )


@pages.get("/board/parts")
@allow(Act.FOLLOW_BOARD, polled=True)
def parts() -> Response:
    """Only the parts, for the page's script; nothing where none has changed."""
    shown = work.board(reading_session(), person(), now())
    made = _parts(shown)
    answer = Response(render_template("board_all_parts.html", parts=made, counts=_counts(shown)))
    answer.set_etag(_version(made))
    answer.headers[AS_OF] = _clock(shown)
    answer.make_conditional(request)
    return answer


def _parts(shown: Board) -> list[Part]:
    plant = person().plant
    charts = [sparkline(chart, plant.units, plant) for chart in shown.charts]
    content = {
        name: get_template_attribute("board_parts.html", name)(shown, plant, charts, work.SHOWN)
        for name in PARTS
    }
    return [Part(name, text, _hash(str(get_locale()), text)) for name, text in content.items()]


def _version(parts: list[Part]) -> str:
    return _hash(*(part.version for part in parts))


def _hash(*texts: str) -> str:
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:20]


def _clock(shown: Board) -> str:
    return local_time(shown.at, person().plant, "HH:mm")


def _counts(shown: Board) -> str:
    """What is said aloud when it changes, and nothing else is."""
    held = ngettext("%(num)s panel is held", "%(num)s panels are held", len(shown.held))
    opened = ngettext(
        "%(num)s nonconformity is open", "%(num)s nonconformities are open", shown.open_nonconformities
    )
    signals = sum(chart.signals_today for chart in shown.charts)
    found = ngettext("%(num)s signal today", "%(num)s signals today", signals)
    return f"{held}. {opened}. {found}."


@pages.app_template_global()
def lasting(since: datetime, at: datetime) -> str:
    """How long something has lasted, in steps: minutes, hours or days."""
    lasted = at - since
    if lasted >= timedelta(days=2):
        return ngettext("%(num)s day", "%(num)s days", lasted.days)
    hours, minutes = divmod(int(lasted.total_seconds()) // 60, 60)
    if hours:
        return ngettext("%(num)s hour", "%(num)s hours", hours)
    # In steps, so that the board does not change every minute by this alone.
    return _("under 15 minutes") if minutes < 15 else _("under an hour")


@pages.app_template_global()
def began(moment: datetime, plant: Plant) -> str:
    """When something began, on the plant's clock."""
    return local_time(moment, plant, "d MMM, HH:mm")


@pages.app_template_global()
def where_to_act(state: PanelState, held: Held) -> str:
    """The page on which something is done about a hold."""
    if isinstance(held.what, Nonconformity):
        return nonconformity_page(held.what)
    return url_for("buildings.panel", panel_id=state.panel.id)


@pages.app_template_global()
def nonconformity_page(one: Nonconformity) -> str:
    """The page of a nonconformity."""
    return url_for("nonconformities.one", number=one.id)
