"""The station on a tablet: choose it once, choose what waits, log what is due."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from flask import session as cookie
from flask_babel import gettext as _
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from qc_app.plan.control_plan import Check
from qc_app.plan.method import EntryRefused
from qc_app.plan.six_readings import Taken
from qc_app.records.building import Lot, Panel
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument, Station
from qc_app.refusal import Refusal
from qc_app.web.access import allow
from qc_app.web.form_errors import take_refusal
from qc_app.web.language import say
from qc_app.web.request import database, now, person, person_in, reading_session
from qc_app.web.show import signed
from qc_app.web.worker.drawn_shape import drawn
from qc_app.web.worker.entry_form import EntryForm, Question
from qc_app.work import find
from qc_app.work.history import outcome_of
from qc_app.work.panel_shape import recorded_shape, typed_shape
from qc_app.work.record import NewReading, record
from qc_app.work.roles import Act
from qc_app.work.standing import Item, readings_of
from qc_app.work.waiting import Due, due_here, lots_waiting, next_due, panels_waiting, takes_lots

pages = Blueprint("station", __name__)

INCH = 25_400_000


@dataclass(frozen=True)
class Step:
    """What is asked for next on an item, and the form that asks."""

    question: Question
    instruments: list[Instrument]
    form: EntryForm

    @property
    def used(self) -> tuple[Instrument, ...]:
        return self.question.chosen(self.form, self.instruments)

    @property
    def typed(self) -> list[Taken]:
        """What was typed for each check."""
        return [
            Taken(check.characteristic, check.place, self.question.entries(self.form, check))
            for check in self.question.checks
        ]


class CheckRefused(Refusal):
    """What was typed for one of several checks cannot be recorded."""


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
        takes_lots=takes_lots(session, who, station, now()),
    )


@pages.route("/station/<key>/panel/<int:item_id>", methods=["GET", "POST"])
@allow(Act.RECORD)
def panel(key: str, item_id: int) -> str | Response | tuple[str, int]:
    station = find.station(reading_session(), person(), key)
    return _log(station, find.panel(reading_session(), person(), item_id))


@pages.route("/station/<key>/lot/<int:item_id>", methods=["GET", "POST"])
@allow(Act.RECORD)
def lot(key: str, item_id: int) -> str | Response | tuple[str, int]:
    station = find.station(reading_session(), person(), key)
    return _log(station, find.lot(reading_session(), person(), item_id))


def _log(station: Station, item: Item) -> str | Response | tuple[str, int]:
    due = due_here(reading_session(), item, station)
    step = _step(item, due)
    if step is None or not step.form.validate_on_submit():
        return _page(station, item, due, step), 400 if request.method == "POST" else 200
    doubts = _doubts(item, step)
    if doubts:
        return _page(station, item, due, step, doubts), 200
    try:
        reading = _record(station, item, step)
    except Refusal as refusal:
        take_refusal(step.form, refusal)
        return _page(station, item, due, step), 400
    return redirect(_address(station, item, saved=str(reading)))


def _step(item: Item, due: list[Due]) -> Step | None:
    """The check that the address names, or else the next one due; with those read together with it."""
    key, place = request.args.get("check"), request.args.get("place", "")
    plan = item.control_plan.plan
    if key is None:
        following = next_due(due)
        if following is None:
            return None
        first = following.check
    else:
        first = Check(plan.characteristic(item.kind, key), place)
    question = Question(plan.together(item.subject, first), item.subject)
    for check in question.checks:
        check.characteristic.requirement(item.subject, check.place)
    instruments = find.instruments(reading_session(), person(), question.instrument_kinds)
    return Step(question, instruments, question.form(instruments, cookie.get("instruments", {})))


def _doubts(item: Item, step: Step) -> list[str]:
    """Why the readings are doubted as a whole, in sentences; none when the same come a second time."""
    units = person().plant.units
    said = " / ".join(text for taken in step.typed for text in taken.entries.values())
    if step.form.doubted.data == said:
        return []
    try:
        shape = typed_shape(item, step.typed, step.used)
    except Refusal as refusal:
        doubts = [say(refusal)]
    else:
        if shape is None or shape.misclosure is None or shape.is_consistent:
            return []
        doubts = [
            _(
                "The six readings do not fit one panel: the diagonals are %(by)s off what the sides give. "
                "One check cannot name the culprit for certain; the likeliest come first.",
                by=signed(shape.misclosure, units),
            )
        ]
        doubts += [
            _(
                "%(line)s alone could explain it, if it was read about %(by)s too %(way)s%(slip)s.",
                line=suspect.reading,
                by=signed(abs(suspect.change), units).lstrip("+"),
                way=_("short") if suspect.change > 0 else _("long"),
                slip=f" ({suspect.slip})" if suspect.slip else "",
            )
            for suspect in shape.suspects(units.system)[:2]
        ]
    step.form.doubted.data = said
    return doubts


def _record(station: Station, item: Item, step: Step) -> str:
    """Records everything typed, or nothing; returns the number of the last reading."""
    cookie["instruments"] = {**cookie.get("instruments", {}), **{i.kind: i.id for i in step.used}}
    moment = now()
    with database().write() as session:
        who = person_in(session)
        for check in step.question.checks:
            new = NewReading(
                uuid=step.question.uuid(step.form, check),
                item=_again(session, item),
                station=find.station(session, who, station.key),
                characteristic=check.characteristic.key,
                place=check.place,
                entries=step.question.entries(step.form, check),
                measured_at=moment,
                instruments=tuple(session.get_one(Instrument, i.id) for i in step.used),
                note=step.form.note.data or "",
            )
            reading = _record_one(session, step, check, new, moment)
        return str(reading.uuid)


def _record_one(session: Session, step: Step, check: Check, new: NewReading, moment: datetime) -> Reading:
    try:
        return record(session, person_in(session), new, moment)
    except EntryRefused as refusal:
        fields = {field.key: field for field in check.characteristic.method.fields}
        name = step.question.field_name(check, fields[refusal.about or ""])
        raise CheckRefused(refusal.sentence, about=name, **refusal.facts) from refusal


def _again(session: Session, item: Item) -> Item:
    """The same item in another session."""
    if isinstance(item, Panel):
        return session.get_one(Panel, item.id)
    return session.get_one(Lot, item.id)


def _page(
    station: Station, item: Item, due: list[Due], step: Step | None, doubts: list[str] | None = None
) -> str:
    saved = _saved(item)
    shape = recorded_shape(reading_session(), item, station.key)
    return render_template(
        "station_log.html",
        station=station,
        item=item,
        kind=item.control_plan.plan.kind(item.kind),
        due=due,
        step=step,
        doubts=doubts or [],
        saved=saved,
        outcome=outcome_of(saved[-1], item) if saved else None,
        shape=shape,
        drawn=drawn(shape, item.length / INCH, item.width / INCH) if shape else None,
        address=_address,
        is_proven=all(d.is_proven for d in due),
    )


def _saved(item: Item) -> list[Reading]:
    """The readings just saved together, if the address names the last of them."""
    named = request.args.get("saved", "")
    readings = readings_of(reading_session(), item)
    last = next((r for r in readings if str(r.uuid) == named), None)
    return [r for r in readings if last is not None and r.received_at == last.received_at]


def _address(station: Station, item: Item, **more: Any) -> str:
    """The address of an item's page at a station."""
    return url_for(f"station.{item.__tablename__}", key=station.key, item_id=item.id, **more)
