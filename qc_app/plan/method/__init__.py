"""How a characteristic is measured: what is typed, and how the amount follows from it."""

from qc_app.plan.method.check import CHECK
from qc_app.plan.method.core import CORE
from qc_app.plan.method.entry import Entries, Entry, EntryRefused, Field
from qc_app.plan.method.fill import FILL
from qc_app.plan.method.lengths import DIFFERENCE_OF_DIAGONALS, LEAN_OVER_WIDTH, TAPE
from qc_app.plan.method.meter import METER
from qc_app.plan.method.outcome import Circumstances, Companion, Method, Outcome, place_number

__all__ = [
    "METHODS",
    "Circumstances",
    "Companion",
    "Entries",
    "Entry",
    "EntryRefused",
    "Field",
    "Method",
    "Outcome",
    "place_number",
]

METHODS: dict[str, Method] = {
    method.key: method
    for method in (TAPE, DIFFERENCE_OF_DIAGONALS, LEAN_OVER_WIDTH, FILL, CORE, METER, CHECK)
}
"""Every way of measuring that a control plan may name."""
