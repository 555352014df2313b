"""The page on which instruments are checked at the start of a shift; it goes through the outbox."""

from typing import Any

from flask import Blueprint, render_template
from flask_babel import gettext as _

from qc_app.plan.instrument import INSTRUMENT_QUANTITIES
from qc_app.records.shop import Instrument
from qc_app.web.access import allow
from qc_app.web.request import now, reading_session, visitor
from qc_app.work import find
from qc_app.work.instrument_checks import steps_of
from qc_app.work.instrument_trust import trust_of
from qc_app.work.roles import Act

pages = Blueprint("instrument_check", __name__)


@pages.get("/instrument/check")
@allow(Act.RECORD, tablets=True)
def ask() -> str:
    """What a check of each kind of instrument asks for."""
    session, who = reading_session(), visitor()
    instruments = find.instruments(session, who)
    return render_template(
        "instrument_check.html",
        title=_("Check an instrument"),
        instruments=instruments,
        trust=trust_of(session, who.plant, instruments, now()),
        facts={"instruments": [_fact(instrument) for instrument in instruments]},
        units=who.plant.units,
    )


def _fact(instrument: Instrument) -> dict[str, Any]:
    """What the tablet needs to judge by itself; amounts as text, since some are too long for its numbers."""
    steps = steps_of(reading_session(), instrument, now())
    return {
        "id": instrument.id,
        "kind": instrument.kind,
        "name": instrument.name,
        "quantity": INSTRUMENT_QUANTITIES[instrument.kind].value,
        "bore": None if instrument.bore is None else str(instrument.bore),
        "steps": [[None if s.up_to is None else str(s.up_to), str(s.error)] for s in steps],
    }
