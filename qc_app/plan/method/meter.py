"""The moisture of wood, as a meter shows it."""

from qc_app.measure.moisture import parse_percent
from qc_app.phrase import phrase
from qc_app.plan.method.entry import Entries, Entry, Field, read
from qc_app.plan.method.outcome import Circumstances, Method, Outcome
from qc_app.plan.quantity import GRAINS, Quantity


def _meter(entries: Entries, at: Circumstances) -> Outcome:
    amount = round(read(entries, "percent", parse_percent) * GRAINS)
    return Outcome(amount, standard_uncertainty=at.uncertainties.get("moisture_meter"))


METER = Method(
    "meter",
    Quantity.MOISTURE,
    (Field("percent", phrase("Moisture"), Entry.PERCENT, "14.5 %"),),
    _meter,
)
