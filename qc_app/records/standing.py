"""Which of a subject's readings stand."""

from collections.abc import Iterable

from qc_app.plan.control_plan import CheckKey
from qc_app.records.reading import Reading


def standing(readings: Iterable[Reading]) -> dict[CheckKey, Reading]:
    """The newest reading of each characteristic at each place, leaving out superseded ones.

    ``readings`` are those of one panel or lot, in the order they were measured.
    """
    listed = list(readings)
    superseded = {reading.supersedes_id for reading in listed}
    return {
        (reading.characteristic.key, reading.place): reading
        for reading in listed
        if reading.id not in superseded
    }
