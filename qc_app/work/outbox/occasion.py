"""Who made an entry and when, and what became of it; what all forms look up alike."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.shop import Instrument, Person
from qc_app.records.tablet import Tablet
from qc_app.refusal import Refusal
from qc_app.work.outbox.answer import ReadingAnswer, Sentence
from qc_app.work.outbox.batch import whole

LONGEST_KEY = 40
LONGEST_TEXT = 4000
"""Of anything typed: above what readings take, so that their own sentences say what is too long."""


@dataclass(frozen=True)
class Occasion:
    """Who made an entry, on which tablet, when it was made and when it came, and the entry's number."""

    author: Person
    tablet: Tablet | None
    entered_at: datetime
    now: datetime
    uuid: UUID


@dataclass(frozen=True)
class Taken:
    """What came of an entry that is kept."""

    readings: tuple[ReadingAnswer, ...] = ()
    remarks: tuple[Sentence, ...] = ()


def instrument_of(session: Session, on: Occasion, number: Any) -> Instrument:
    """The instrument with that number. Raises Refusal if the plant has none."""
    # One taken out of use meanwhile was in use when the entry was made.
    found = session.get(Instrument, whole(number, "instrument"))
    if found is None or found.plant_id != on.author.plant_id:
        raise Refusal(phrase("There is no such instrument in this plant."))
    return found
