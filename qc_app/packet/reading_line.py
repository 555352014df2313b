"""One reading as a packet tells it: as typed, as printed, and against what it was judged."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from enum import StrEnum

from qc_app.measure.conformity import Verdict
from qc_app.packet.wording import (
    companion_text,
    deviation_text,
    entered_text,
    faults_text,
    limits_text,
    not_within,
    value_text,
)
from qc_app.plan.characteristic import Characteristic, Requirement
from qc_app.plan.method import Circumstances
from qc_app.plan.quantity import Quantity, Units, format_spread
from qc_app.plan.subject import Subject
from qc_app.records.reading import Reading
from qc_app.records.shop import bore_of
from qc_app.refusal import Refusal


class State(StrEnum):
    """What is known of a check: the verdict on its newest reading, or that there is none.

    ``corrected``: nothing is due here, and the reading once taken here was replaced by one at another place.
    """

    WITHIN = "within"
    OUTSIDE = "outside"
    UNCLEAR = "unclear"
    NOT_RECORDED = "not recorded"
    CORRECTED = "corrected"


class Fate(StrEnum):
    """What became of a reading."""

    STANDS = "stands"
    MEASURED_AGAIN = "measured again"
    CORRECTED = "corrected"


@dataclass(frozen=True)
class ReadingLine:
    """Texts as printed; ``amount`` and ``requirement`` in grains of the quantity; times local."""

    uuid: str
    station: str
    name: str
    place: str
    quantity: Quantity
    amount: int
    requirement: Requirement
    verdict: Verdict
    fate: Fate
    entered: str
    value: str
    spread: str
    target: str
    limits: str
    deviation: str
    companions: tuple[str, ...]
    measured_at: datetime
    received_at: datetime
    by: str
    instruments: tuple[str, ...]
    note: str
    units: Units
    typed: Mapping[str, str] = field(default_factory=dict)
    """Exactly what was typed, by the key of its field."""
    where: str = ""
    """Places of faults on the panel, in words."""
    photos: tuple[str, ...] = ()
    """SHA-256 of each photo."""
    corrected_because: str = ""

    def unproven(self, check: str) -> str:
        """Plain sentence on why this reading does not prove its check."""
        return not_within(check, self.quantity, self.amount, self.requirement, self.verdict, self.units)


@dataclass(frozen=True)
class Scale:
    """How a plant writes numbers and times."""

    units: Units
    zone: tzinfo


def reading_line(
    reading: Reading,
    characteristic: Characteristic | None,
    subject: Subject,
    fate: Fate,
    scale: Scale,
    corrected_because: str = "",
) -> ReadingLine:
    """The line for a reading. ``characteristic`` is None when the control plan no longer has it."""
    quantity, units = reading.quantity, scale.units
    requirement = Requirement(reading.target, reading.lower, reading.upper)
    return ReadingLine(
        uuid=str(reading.uuid),
        station=reading.station.name,
        name=reading.characteristic.name,
        place=reading.place,
        quantity=quantity,
        amount=reading.amount,
        requirement=requirement,
        verdict=Verdict(reading.verdict),
        fate=fate,
        entered=entered_text(characteristic.method if characteristic else None, reading.entries),
        value=value_text(quantity, reading.amount, units),
        spread=format_spread(quantity, reading.standard_uncertainty, units),
        target=target_text(quantity, requirement, units),
        limits=limits_text(quantity, requirement, units),
        deviation=deviation_text(quantity, reading.amount, reading.target, units),
        companions=_companions(reading, characteristic, subject, units),
        measured_at=reading.measured_at.astimezone(scale.zone),
        received_at=reading.received_at.astimezone(scale.zone),
        by=reading.person.name,
        instruments=tuple(sorted(instrument.name for instrument in reading.instruments)),
        note=reading.note,
        units=units,
        typed=reading.entries,
        where=faults_text(reading.entries.get("where", ""), subject, units),
        photos=tuple(sorted(photo.sha256 for photo in reading.photos)),
        corrected_because=corrected_because,
    )


def target_text(quantity: Quantity, requirement: Requirement, units: Units) -> str:
    """The target as printed; empty where there is none."""
    return "" if requirement.target is None else value_text(quantity, requirement.target, units)


def _companions(
    reading: Reading, characteristic: Characteristic | None, subject: Subject, units: Units
) -> tuple[str, ...]:
    if characteristic is None:
        return ()
    bore = bore_of(reading.instruments)
    try:
        outcome = characteristic.work_out(reading.entries, Circumstances(subject, reading.place, bore))
    except Refusal:
        # Taken under another version of the plan or of the panel's sizes: the stored amount stands alone.
        return ()
    return tuple(companion_text(companion, units) for companion in outcome.companions)
