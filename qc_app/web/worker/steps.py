"""What is asked for at a station, step after step, and the facts the tablet needs to judge it by itself."""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from qc_app.plan.characteristic import Characteristic, Each, Requirement
from qc_app.plan.control_plan import Check
from qc_app.plan.method import Entry, Field, place_number
from qc_app.plan.subject import Subject
from qc_app.records.shop import Instrument
from qc_app.web.plan_words import plan_word
from qc_app.work.standing import Item
from qc_app.work.waiting import Due


@dataclass(frozen=True)
class Asked:
    """One check with what it is judged against; ``number`` tells it from the others on the page."""

    number: int
    due: Due
    requirement: Requirement

    @property
    def check(self) -> Check:
        return self.due.check

    @property
    def characteristic(self) -> Characteristic:
        return self.check.characteristic

    @property
    def place(self) -> str:
        return self.check.place

    @property
    def place_word(self) -> str:
        """The place in the language of the page."""
        return plan_word(self.place)

    @property
    def lines(self) -> tuple[str, ...]:
        return self.characteristic.lines(self.place)

    @property
    def bay(self) -> int:
        """The number of its bay; 0 where it is not about a bay."""
        return place_number(self.place) if self.characteristic.each is Each.BAY else 0

    @property
    def fields(self) -> tuple[Field, ...]:
        """The fields in the order they stand on the page: places are marked before faults are counted."""
        fields = self.characteristic.method.fields
        marked = [field for field in fields if field.entry in (Entry.YES_NO, Entry.PLACES)]
        return (*marked, *(field for field in fields if field not in marked))

    def input_id(self, field: Field) -> str:
        """The name of a field's input on the page."""
        return f"check-{self.number}-{field.key}"

    @property
    def name(self) -> str:
        """The characteristic and where, in the language of the page."""
        name = plan_word(self.characteristic.name)
        return f"{name}, {self.place_word}" if self.place else name


@dataclass(frozen=True)
class Step:
    """One or several checks that are typed together."""

    number: int
    asked: tuple[Asked, ...]

    @property
    def is_alone(self) -> bool:
        return len(self.asked) == 1

    @property
    def first(self) -> Asked:
        return self.asked[0]

    @property
    def name(self) -> str:
        if self.is_alone:
            return plan_word(self.first.characteristic.name)
        together = plan_word(self.first.characteristic.together)
        return together[:1].upper() + together[1:]

    @property
    def place_word(self) -> str:
        return self.first.place_word if self.is_alone else ""

    @property
    def how(self) -> tuple[str, ...]:
        """How to measure, each sentence once."""
        return tuple(dict.fromkeys(plan_word(asked.characteristic.how) for asked in self.asked))

    @property
    def lines(self) -> tuple[str, ...]:
        return tuple(line for asked in self.asked for line in asked.lines)

    @property
    def instrument_kinds(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(kind for asked in self.asked for kind in asked.characteristic.instruments))


def steps_of(due: Iterable[Due], subject: Subject) -> tuple[Step, ...]:
    """The steps for the checks due on an item, in the order of the plan."""
    asked = [
        Asked(n, d, d.check.characteristic.requirement(subject, d.check.place)) for n, d in enumerate(due, 1)
    ]
    groups = groupby(asked, lambda a: a.characteristic.together or a.number)
    return tuple(Step(number, tuple(together)) for number, (_key, together) in enumerate(groups, 1))


def facts_of(
    item: Item, station: str, steps: Iterable[Step], instruments: Iterable[Instrument]
) -> dict[str, Any]:
    """What the page's own scripts need: amounts are whole grains, written as text since some are too long
    for the numbers of a browser."""
    plan = item.control_plan.plan
    return {
        "station": station,
        "item": item.__tablename__,
        "id": item.id,
        "mark": item.mark,
        "plan": item.control_plan_id,
        "size": {name: str(getattr(item, name)) for name in ("length", "width", "depth")},
        "bays": {bay.number: {"width": str(bay.width), "depth": str(bay.depth)} for bay in item.subject.bays},
        "uncertainties": {kind: str(grains) for kind, grains in plan.uncertainties.items()},
        "instruments": [_instrument(instrument) for instrument in instruments],
        "steps": [[_asked(asked) for asked in step.asked] for step in steps],
    }


def _instrument(instrument: Instrument) -> dict[str, Any]:
    return {
        "id": instrument.id,
        "kind": instrument.kind,
        "name": instrument.name,
        "bore": _text(instrument.bore),
        "uncertainty": _text(instrument.standard_uncertainty),
    }


def _asked(asked: Asked) -> dict[str, Any]:
    characteristic, requirement = asked.characteristic, asked.requirement
    return {
        "characteristic": characteristic.key,
        "place": asked.place,
        "name": asked.name,
        "method": characteristic.method.key,
        "quantity": characteristic.quantity.value,
        "target": _text(requirement.target),
        "lower": _text(requirement.lower),
        "upper": _text(requirement.upper),
        "rule": requirement.rule.value,
        "roundedTo": _text(requirement.rounded_to),
        "lines": asked.lines,
        "bay": asked.bay or None,
        "fields": {field.key: asked.input_id(field) for field in characteristic.method.fields},
        "instruments": characteristic.instruments,
        "reading": _reading(asked.due),
    }


def _reading(due: Due) -> dict[str, Any] | None:
    reading = due.reading
    if reading is None:
        return None
    return {
        "uuid": str(reading.uuid),
        "verdict": reading.verdict if due.is_accepted else due.verdict,
        "isAccepted": due.is_accepted,
        "entries": reading.entries,
        "at": reading.measured_at.isoformat(),
    }


def _text(amount: int | None) -> str | None:
    return None if amount is None else str(amount)
