"""The measured shape of a panel: from what is being typed, and from what was recorded last."""

from collections.abc import Iterable

from sqlalchemy.orm import Session

from qc_app.measure.quadrilateral import PanelShape
from qc_app.plan.six_readings import Taken, lines_of, shape_of
from qc_app.records.building import Panel
from qc_app.records.reading import Reading
from qc_app.records.shop import Instrument
from qc_app.refusal import Refusal
from qc_app.work.record import circumstances_of
from qc_app.work.standing import Item, readings_of, standing

Shape = PanelShape[float, bool]


def typed_shape(item: Item, readings: Iterable[Taken], instruments: Iterable[Instrument]) -> Shape | None:
    """The shape that readings about to be recorded give; None unless all six lines are among them.

    Raises
    ------
    Refusal
        If no panel near its nominal size has such sides and diagonals.
    """
    lines = lines_of(readings)
    uncertainty = circumstances_of(item, "", instruments).uncertainties.get("tape")
    return shape_of(item.subject, lines, uncertainty) if uncertainty else None


def recorded_shape(session: Session, item: Item, station: str) -> Shape | None:
    """The shape that the newest readings taken at a station give; None unless all six lines are there."""
    if not isinstance(item, Panel):
        return None
    newest = [r for r in standing(readings_of(session, item)).values() if r.station.key == station]
    taken = [_taken(item, reading) for reading in newest]
    instruments = [i for reading in newest for i in reading.instruments if i.kind == "tape"]
    try:
        return typed_shape(item, taken, instruments)
    except Refusal:
        return None


def _taken(item: Item, reading: Reading) -> Taken:
    plan = reading.characteristic.control_plan.plan
    characteristic = plan.characteristic(item.kind, reading.characteristic.key)
    return Taken(characteristic, reading.place, reading.entries)
