"""The station on a tablet: choose it once, choose what waits, log what is due."""

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from flask import Blueprint, redirect, render_template, request, url_for
from flask import session as cookie
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from qc_app.plan.characteristic import Characteristic, Requirement
from qc_app.plan.method import Companion
from qc_app.records.building import Lot, Panel
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Station
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.worker.entry_form import EntryForm, chosen, entries, entry_form
from qc_app.work import find
from qc_app.work.history import companions_of
from qc_app.work.record import NewReading, record
from qc_app.work.roles import Act
from qc_app.work.standing import Item, readings_of
from qc_app.work.waiting import Due, due_here, lots_waiting, next_due, panels_waiting

pages = Blueprint("station", __name__)


@dataclass(frozen=True)
class Step:
    """One check chosen to be logged: what it needs and how it is asked for."""

    characteristic: Characteristic
    place: str
    requirement: Requirement
    instruments: list[Instrument]
    form: EntryForm


@pages.get("/station")
@allow(Act.RECORD)
def choose() -> str | Response:
    """The tablet's station if it has one, else all of them to choose from."""
    chosen_before = cookie.get("station")
    stations = find.stations(reading_session(), person())
    if chosen_before in [s.key for s in stations] and "change" not in request.args:
        return redirect(url_for("station.waiting", key=chosen_before))
    return render_template("station_choose.html", stations=stations)


@pages.post("/station/<key>")
@allow(Act.RECORD)
def remember(key: str) -> Response:
    """Makes this the tablet's station from now on."""
    cookie["station"] = find.station(reading_session(), person(), key).key
    cookie.permanent = True
    return redirect(url_for("station.waiting", key=key))


@pages.get("/station/<key>")
@allow(Act.RECORD)
def waiting(key: str) -> str:
    """What waits at this station, in the order the line needs it."""
    session, who = reading_session(), person()
    station = find.station(session, who, key)
    return render_template(
        "station_waiting.html",
        station=station,
        panels=panels_waiting(session, who, station),
        lots=lots_waiting(session, who, station),
    )


@pages.route("/station/<key>/panel/<int:item_id>", methods=["GET", "POST"])
@allow(Act.RECORD)
def panel(key: str, item_id: int) -> str | Response | tuple[str, int]:
    return _log(
        find.station(reading_session(), person(), key), find.panel(reading_session(), person(), item_id)
    )


@pages.route("/station/<key>/lot/<int:item_id>", methods=["GET", "POST"])
@allow(Act.RECORD)
def lot(key: str, item_id: int) -> str | Response | tuple[str, int]:
    return _log(
        find.station(reading_session(), person(), key), find.lot(reading_session(), person(), item_id)
    )


def _log(station: Station, item: Item) -> str | Response | tuple[str, int]:
    due = due_here(reading_session(), item, station)
    step = _step(item, due)
    if step is None or not step.form.validate_on_submit():
        status = 400 if request.method == "POST" else 200
        return _page(station, item, due, step), status
    try:
        reading = _record(station, item, step)
    except Refusal as refusal:
        take_refusal(step.form, refusal)
        return _page(station, item, due, step), 400
    return redirect(_address(station, item, saved=str(reading)))


def _step(item: Item, due: list[Due]) -> Step | None:
    """The check that the address names, or else the next one due."""
    key, place = request.args.get("check"), request.args.get("place", "")
    if key is None:
        following = next_due(due)
        if following is None:
            return None
        key, place = following.check.characteristic.key, following.check.place
    characteristic = item.control_plan.plan.characteristic(item.kind, key)
    requirement = characteristic.requirement(item.subject, place)
    instruments = find.instruments(reading_session(), person(), characteristic.instruments)
    form = entry_form(characteristic, instruments, cookie.get("instruments", {}))
    return Step(characteristic, place, requirement, instruments, form)


def _record(station: Station, item: Item, step: Step) -> UUID:
    used = chosen(step.form, step.characteristic, step.instruments)
    cookie["instruments"] = {**cookie.get("instruments", {}), **{i.kind: i.id for i in used}}
    with database().write() as session:
        who = person_in(session)
        new = NewReading(
            uuid=UUID(step.form.uuid.data),
            item=_again(session, item),
            station=find.station(session, who, station.key),
            characteristic=step.characteristic.key,
            place=step.place,
            entries=entries(step.form, step.characteristic),
            measured_at=now(),
            instruments=tuple(session.get_one(Instrument, i.id) for i in used),
            note=step.form.note.data or "",
        )
        return record(session, who, new, now()).uuid


def _again(session: Session, item: Item) -> Item:
    """The same item in another session."""
    if isinstance(item, Panel):
        return session.get_one(Panel, item.id)
    return session.get_one(Lot, item.id)


def _page(station: Station, item: Item, due: list[Due], step: Step | None) -> str:
    saved, companions = _saved(item)
    return render_template(
        "station_log.html",
        station=station,
        item=item,
        kind=item.control_plan.plan.kind(item.kind),
        due=due,
        step=step,
        saved=saved,
        companions=companions,
        address=_address,
        is_proven=all(d.is_proven for d in due),
    )


def _saved(item: Item) -> tuple[Reading | None, tuple[Companion, ...]]:
    """The reading just saved, if the address names one of this item."""
    named = request.args.get("saved", "")
    found = next((r for r in readings_of(reading_session(), item) if str(r.uuid) == named), None)
    return found, companions_of(found, item) if found else ()


def _address(station: Station, item: Item, **more: Any) -> str:
    """The address of an item's page at a station."""
    return url_for(f"station.{item.__tablename__}", key=station.key, item_id=item.id, **more)
