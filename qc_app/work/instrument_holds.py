"""Panels held because an instrument they were measured with was found wrong, until measured again."""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.building import Panel
from qc_app.records.event import append_event
from qc_app.records.hold import Hold
from qc_app.records.reading import Reading
from qc_app.records.release import Passage
from qc_app.records.shop import Instrument, Person
from qc_app.work.hold import INSTRUMENT, hold_by_instrument
from qc_app.work.instrument_trust import Window, is_doubtful, readings_in
from qc_app.work.standing import readings_of, standing

MEASURED_AGAIN = phrase("Measured again with a good instrument.")


def doubtful_checks(session: Session, panel: Panel, instrument_id: int) -> list[Reading]:
    """The newest readings of a panel that were taken while the instrument may have been wrong."""
    newest = standing(readings_of(session, panel)).values()
    with_it = [r for r in newest if instrument_id in [i.id for i in r.instruments]]
    return [r for r in with_it if is_doubtful(session, instrument_id, r.measured_at)]


def hold_panels(session: Session, instrument: Instrument, window: Window, now: datetime) -> list[Panel]:
    """Holds every panel that still rests on a reading of that time and has not been loaded.

    Returns all panels of which a reading is in doubt, held or not, each once.
    """
    readings = readings_in(session, instrument.id, window)
    panels = list(dict.fromkeys(r.panel for r in readings if r.panel is not None))
    gone = _gone(session, panels)
    for panel in panels:
        if panel.id not in gone and doubtful_checks(session, panel, instrument.id):
            hold_by_instrument(session, panel, instrument, now)
    return panels


def hold_or_lift(session: Session, person: Person, reading: Reading, now: datetime) -> None:
    """After a reading: lifts the holds that it settles, and holds its panel if its instrument is in doubt."""
    panel = reading.panel
    if panel is None:
        return
    for hold in _open_holds(session, panel):
        lift_if_settled(session, person, hold, now)
    for instrument in reading.instruments:
        if is_doubtful(session, instrument.id, reading.measured_at) and not _gone(session, [panel]):
            hold_by_instrument(session, panel, instrument, now)


def lift_if_settled(session: Session, person: Person, hold: Hold, now: datetime) -> None:
    """Lifts a hold once every check that was in doubt has been measured again."""
    instrument = instrument_of_hold(session, hold)
    if instrument is None or doubtful_checks(session, hold.panel, instrument.id):
        return
    hold.lifted_at, hold.lifted_by_id, hold.lift_reason = now, person.id, MEASURED_AGAIN
    facts = {
        "mark": hold.panel.mark,
        "why": INSTRUMENT,
        "held": hold.reason,
        "placed_at": hold.placed_at.isoformat(),
        "reason": MEASURED_AGAIN,
    }
    building = hold.panel.building
    append_event(session, building, "hold lifted", facts, at=now, person=person, panel_id=hold.panel_id)


def settle_all(session: Session, person: Person, instrument: Instrument, now: datetime) -> None:
    """Looks anew at every panel held because of an instrument, after a check of it passed."""
    for hold in _open_holds_of(session, instrument):
        lift_if_settled(session, person, hold, now)


def instrument_of_hold(session: Session, hold: Hold) -> Instrument | None:
    """The instrument because of which a panel is held."""
    return session.scalars(
        select(Instrument).where(
            Instrument.plant_id == hold.panel.building.plant_id,
            Instrument.name == hold.facts.get(INSTRUMENT, ""),
        )
    ).first()


def open_holds_by_panel(session: Session, instrument: Instrument) -> dict[int, Hold]:
    """The holds in force because of an instrument, by panel."""
    return {hold.panel_id: hold for hold in _open_holds_of(session, instrument)}


def _open_holds(session: Session, panel: Panel) -> list[Hold]:
    query = select(Hold).where(Hold.panel_id == panel.id, Hold.why == INSTRUMENT, Hold.lifted_at.is_(None))
    return list(session.scalars(query))


def _open_holds_of(session: Session, instrument: Instrument) -> list[Hold]:
    in_force = session.scalars(select(Hold).where(Hold.why == INSTRUMENT, Hold.lifted_at.is_(None)))
    return [
        hold
        for hold in in_force
        if hold.facts.get(INSTRUMENT) == instrument.name
        and hold.panel.building.plant_id == instrument.plant_id
    ]


def _gone(session: Session, panels: Sequence[Panel]) -> set[int]:
    """Those that have left the shop or were scrapped: there is nothing to hold any more."""
    numbers = [panel.id for panel in panels]
    loaded = select(Passage.panel_id).where(Passage.panel_id.in_(numbers), Passage.what == "loaded")
    return {*session.scalars(loaded), *(p.id for p in panels if p.scrapped_at is not None)}
