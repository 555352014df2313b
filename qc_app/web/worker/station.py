"""The station on a tablet: choose it once, choose what waits, and the page on which its checks are entered.

Entries go from the page into the tablet's outbox and from there to ``outbox``; nothing is posted here. The
pages are the same for whoever stands at the station, so that the tablet can keep them.
"""

from collections.abc import Iterator

from flask import Blueprint, redirect, render_template, request, url_for
from flask import session as cookie
from flask_babel import get_locale
from werkzeug.wrappers import Response

from qc_app.records.building import Lot, Panel
from qc_app.records.shop import Station
from qc_app.records.tablet import Tablet
from qc_app.web.access import allow
from qc_app.web.language import LANGUAGES
from qc_app.web.plan_words import plan_word
from qc_app.web.request import now, reading_session, visitor
from qc_app.web.worker.panel_drawing import drawing_of
from qc_app.web.worker.sentences import tablet_sentences
from qc_app.web.worker.steps import facts_of, steps_of
from qc_app.work import find
from qc_app.work.instrument_trust import trust_of
from qc_app.work.materials import lot_in, uses_of_panel
from qc_app.work.roles import Act
from qc_app.work.standing import Item
from qc_app.work.state import state_of, states_in
from qc_app.work.waiting import (
    due_here,
    lots_waiting,
    panels_coming,
    panels_in_hand,
    panels_waiting,
    takes_lots,
)

pages = Blueprint("station", __name__)
pages.app_template_global()(tablet_sentences)

MOST_KEPT = 150
"""How many panels' pages a tablet keeps, those that wait here first."""


@pages.get("/station")
@allow(Act.RECORD, tablets=True)
def choose() -> str | Response:
    """The tablet's station if it has one, else all of them to choose from."""
    here = _own_station()
    if here is not None and "change" not in request.args:
        return redirect(url_for("station.waiting", key=here))
    return render_template("station_choose.html", stations=find.stations(reading_session(), visitor()))


@pages.post("/station/<key>")
@allow(Act.RECORD, tablets=True)
def remember(key: str) -> Response:
    """Makes this the browser's station from now on; an enrolled tablet has its own."""
    cookie["station"] = find.station(reading_session(), visitor(), key).key
    cookie.permanent = True
    return redirect(url_for("station.waiting", key=key))


@pages.get("/station/<key>")
@allow(Act.RECORD, tablets=True)
def waiting(key: str) -> str:
    """What waits at this station, in the order the line needs it, and what comes here next."""
    session, who = reading_session(), visitor()
    station = find.station(session, who, key)
    here, coming = panels_waiting(session, who, station), panels_coming(session, who, station)
    lots, in_hand = lots_waiting(session, who, station), panels_in_hand(session, who)
    states = states_in(session, {panel.building for panel in in_hand}, now())
    held = {state.panel.id for state in states if state.is_held}
    return render_template(
        "station_waiting.html",
        station=station,
        here=here,
        coming=coming,
        lots=lots,
        takes_lots=takes_lots(session, who, station, now()),
        labels=[_label(station, panel, panel.id in held) for panel in in_hand],
        held=held,
        to_keep=_to_keep(station, [*here, *lots, *coming]),
        address=address,
        units=who.plant.units,
    )


@pages.get("/station/<key>/panel/<int:item_id>")
@allow(Act.RECORD, tablets=True)
def panel(key: str, item_id: int) -> str:
    """The checks due on a panel at a station."""
    session, who = reading_session(), visitor()
    return _page(find.station(session, who, key), find.panel(session, who, item_id))


@pages.get("/station/<key>/lot/<int:item_id>")
@allow(Act.RECORD, tablets=True)
def lot(key: str, item_id: int) -> str:
    """The checks due on a lot at a station."""
    session, who = reading_session(), visitor()
    return _page(find.station(session, who, key), find.lot(session, who, item_id))


def address(station: Station, item: Item) -> str:
    """The address of an item's page at a station, in the language of this page."""
    return url_for(f"station.{item.__tablename__}", key=station.key, item_id=item.id)


def _own_station() -> str | None:
    """Where this browser stands: an enrolled tablet at its own station, another where it was last."""
    who = visitor()
    if isinstance(who, Tablet):
        return who.station.key
    known = [station.key for station in find.stations(reading_session(), who)]
    return cookie.get("station") if cookie.get("station") in known else None


def _page(station: Station, item: Item) -> str:
    session, who = reading_session(), visitor()
    steps = steps_of(due_here(session, item, station), item.subject)
    instruments = find.instruments(session, who)
    used = _lots_used(station, item)
    return render_template(
        "station_log.html",
        station=station,
        item=item,
        kind=item.control_plan.plan.kind(item.kind),
        steps=steps,
        held=state_of(session, item, now()).holds if isinstance(item, Panel) else (),
        panel_drawing=drawing_of(item),
        instruments=instruments,
        trust=trust_of(session, who.plant, instruments, now()),
        lots_used=used,
        facts={**facts_of(item, station.key, steps, instruments), "lots": used},
        units=who.plant.units,
    )


def _lots_used(station: Station, item: Item) -> list[dict[str, str]] | None:
    """The lots that are down for a panel here; None where no lot can be used in the item."""
    if not isinstance(item, Panel):
        return None
    uses = [used for used in uses_of_panel(reading_session(), item) if used.station_id == station.id]
    return [{"uuid": str(used.uuid), "mark": lot_in(used).mark} for used in uses]


def _label(station: Station, panel: Panel, is_held: bool) -> dict[str, str | bool | None]:
    """What a scanned label is looked up in."""
    waits_at = panel.control_plan.plan.station(panel.waiting_at) if panel.waiting_at else None
    return {
        "building": panel.building.code,
        "mark": panel.mark,
        "address": address(station, panel),
        "waitingAt": waits_at.key if waits_at else None,
        "stationName": plan_word(waits_at.name) if waits_at else None,
        "held": is_held,
    }


def _to_keep(station: Station, items: list[Panel | Lot]) -> list[str]:
    """The pages that the tablet should be able to open without a network, in the order they are wanted."""
    present = str(get_locale())
    languages = [present, *(language for language in LANGUAGES if language != present)]
    return [kept for language in languages for kept in _addresses(station, items[:MOST_KEPT], language)]


def _addresses(station: Station, items: list[Panel | Lot], language: str) -> Iterator[str]:
    yield url_for("station.waiting", key=station.key, language=language)
    yield url_for("outbox_page.outbox", language=language)
    yield url_for("instrument_check.ask", language=language)
    yield url_for("lots.receive", language=language)
    for item in items:
        name = f"station.{item.__tablename__}"
        yield url_for(name, key=station.key, item_id=item.id, language=language)
