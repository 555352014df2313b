"""One characteristic of a control plan: where it is measured, its target and its limits of tolerance."""

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from qc_app.measure.conformity import Limits, Rule, Verdict, conformance_probability, judge
from qc_app.measure.limits import ProRata
from qc_app.measure.value import number
from qc_app.plan.method import METHODS, Circumstances, Entries, Method, Outcome
from qc_app.plan.quantity import Quantity
from qc_app.plan.sampling import is_sampled, sampled_bays
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal


class Source(StrEnum):
    """Where a target comes from."""

    FIXED = "fixed"
    LENGTH = "length"
    WIDTH = "width"
    DEPTH = "depth"
    CONNECTOR = "connector"
    NONE = "none"


class Basis(StrEnum):
    """How limits of tolerance depend on size: not, in proportion, or banded by the depth of the bay."""

    FIXED = "fixed"
    PRO_RATA = "pro_rata"
    BANDED = "banded"


class Each(StrEnum):
    """Places that depend on the panel; otherwise a characteristic names its places itself."""

    BAY = "bay"
    CONNECTOR = "connector"
    MEMBER = "member"
    PENETRATION = "penetration"


class PutRight(StrEnum):
    """Who decides how a reading outside is put right: whoever measures it again within, or the shop lead."""

    HERE = "here"
    LEAD = "lead"


class Overdue(StrEnum):
    """What a reading with an instrument past its day of calibration is: refused, or taken with a flag."""

    REFUSE = "refuse"
    FLAG = "flag"


@dataclass(frozen=True)
class Band:
    """Target and limits for bays up to a depth, all in grains."""

    depth_up_to: int
    target: int
    lower: int
    upper: int


@dataclass(frozen=True)
class Tolerance:
    """Limits of tolerance in grains; ``from_target``: they are deviations rather than values.

    ``per`` is the size in nanometres that pro rata deviations are stated for. ``rounded_to``: a value
    is rounded to this unit before it is compared (ASTM E29, rounding method); without it, it is compared as
    it is (absolute method).
    """

    lower: int | None = None
    upper: int | None = None
    from_target: bool = False
    per: int | None = None
    rounded_to: int | None = None

    def ends(self, size: int, target: int) -> tuple[int | None, int | None]:
        """Lower and upper limit as values, for a part of this size and target."""
        lower, upper = self.lower, self.upper
        if self.per is not None:
            lower = None if lower is None else -self._grown(-lower, size)
            upper = None if upper is None else self._grown(upper, size)
        offset = target if self.from_target else 0
        return None if lower is None else lower + offset, None if upper is None else upper + offset

    def _grown(self, permitted: int, size: int) -> int:
        # Readings are whole grains, so a limit between two of them is as good as the one below it.
        return math.floor(number(ProRata(permitted, self.per or size).deviation(size), "deviation"))


@dataclass(frozen=True)
class Requirement:
    """What one reading is judged against: the target and the limits as values, in grains."""

    target: int | None
    lower: int | None
    upper: int | None
    rule: Rule = Rule.SIMPLE_ACCEPTANCE
    rounded_to: int | None = None

    def verdict(self, amount: int, standard_uncertainty: int | None = None) -> Verdict:
        """By the decision rule: within, outside, or unclear; exactly on a limit is within.

        Raises
        ------
        Refusal
            If the rule needs an uncertainty and none is known.
        """
        limits = Limits(self.lower, self.upper, self.rounded_to)
        return judge(amount, limits, standard_uncertainty=standard_uncertainty, rule=self.rule)

    def conformance(self, amount: int, standard_uncertainty: int | None) -> float | None:
        """The probability that the true value is within the limits (JCGM 106); None if not known."""
        if not standard_uncertainty:
            return None
        return conformance_probability(amount, standard_uncertainty, self.lower, self.upper)

    def deviation(self, amount: int) -> int:
        """From the target; from nothing where there is no target."""
        return amount - (self.target or 0)


@dataclass(frozen=True)
class Characteristic:
    """One line of a control plan, for one kind of panel at one station."""

    key: str
    kind: str
    station: str
    name: str
    method: Method
    how: str
    places: tuple[str, ...]
    each: Each | None
    sample: int
    every: int
    source: Source
    target: int | None
    basis: Basis
    tolerance: Tolerance
    bands: tuple[Band, ...]
    decision_rule: Rule
    instruments: tuple[str, ...]
    together: str = ""
    """Name of a set of characteristics that are read and typed together; empty for one by itself."""
    put_right: PutRight = PutRight.HERE
    signal_holds: bool = False
    """Whether a signal on its control chart holds the panel that completed it."""
    overdue_instrument: Overdue = Overdue.FLAG

    @property
    def quantity(self) -> Quantity:
        """The quantity its readings have."""
        return self.method.quantity

    @property
    def charted(self) -> bool:
        """Whether its readings make a control chart of deviations from target."""
        return self.method.charted

    def lines(self, place: str) -> tuple[str, ...]:
        """The lines to measure, each from corner to corner of ABCD; empty where none joins two corners."""
        joins_corners = len(place) == 2 and set(place) <= set("ABCD")
        return self.method.lines or ((place,) if joins_corners else ())

    def stream_place(self, place: str) -> str:
        """The part of a place that tells one process from another: both edges, but not each bay."""
        return "" if self.each else place

    def due_places(self, subject: Subject) -> list[str]:
        """Where the plan wants a reading on this subject; empty when it is not its turn."""
        if not is_sampled(subject.serial, self.every):
            return []
        if self.each is None:
            return list(self.places) or [""]
        match self.each:
            case Each.BAY:
                numbers = [bay.number for bay in subject.bays]
                sampled = sampled_bays(subject.mark, numbers, self.sample or len(numbers))
                return [f"bay {number}" for number in sampled]
            case Each.MEMBER:
                return [f"member {n}" for n in range(1, self.sample + 1)]
            case _:
                return self.possible_places(subject)

    def possible_places(self, subject: Subject) -> list[str]:
        """Everywhere this characteristic can be read on this subject, due or not."""
        match self.each:
            case None:
                return list(self.places) or [""]
            case Each.BAY:
                return [f"bay {bay.number}" for bay in subject.bays]
            case Each.CONNECTOR:
                return [f"connector {n}" for n in range(1, len(subject.connectors) + 1)]
            case Each.PENETRATION:
                return [f"penetration {penetration.mark}" for penetration in subject.penetrations]
            case Each.MEMBER:
                return [f"member {n}" for n in range(1, 100)]

    def detail(self, subject: Subject, place: str) -> str:
        """What the schedule says of a place, such as ``outer face, 4 in, pipe sleeve``; empty if nothing."""
        if self.each is not Each.PENETRATION:
            return ""
        found = subject.penetration(place.removeprefix("penetration "))
        return ", ".join(found.words) if found else ""

    def work_out(self, entries: Entries, at: Circumstances) -> Outcome:
        """What the entries amount to, with what follows from the target too.

        Raises
        ------
        Refusal
            As ``requirement`` does, and for entries that cannot be read (then it is an EntryRefused).
        """
        target = self.requirement(at.subject, at.place).target
        return self.method.work_out(entries, replace(at, target=target))

    def requirement(self, subject: Subject, place: str) -> Requirement:
        """Target and limits for a reading at a place.

        Raises
        ------
        Refusal
            If the subject has no such place, or no band covers the depth of its bay.
        """
        if place not in self.possible_places(subject):
            raise Refusal(
                "{mark} has no {place} for {name}.", mark=subject.mark, place=place or "?", name=self.name
            )
        if self.basis is Basis.BANDED:
            return self._banded(subject, place)
        target = self._target(subject, place)
        # Where the target is zero, as out of square, what grows with size grows with the panel's length.
        lower, upper = self.tolerance.ends(target or subject.length, target or 0)
        return Requirement(target, lower, upper, self.decision_rule, self.tolerance.rounded_to)

    def _target(self, subject: Subject, place: str) -> int | None:
        match self.source:
            case Source.LENGTH:
                return subject.length
            case Source.WIDTH:
                return subject.width
            case Source.DEPTH:
                return subject.depth
            case Source.CONNECTOR:
                return subject.connectors[int(place.rpartition(" ")[2]) - 1]
            case _:
                return self.target

    def _banded(self, subject: Subject, place: str) -> Requirement:
        bay = subject.bay(int(place.rpartition(" ")[2]))
        depth = bay.depth if bay else subject.depth
        for band in self.bands:
            if depth <= band.depth_up_to:
                return Requirement(
                    band.target, band.lower, band.upper, self.decision_rule, self.tolerance.rounded_to
                )
        raise Refusal(
            "The control plan has no limits for {name} at a depth of {depth} in.",
            name=self.name,
            depth=depth / 25_400_000,
        )


def method(key: str) -> Method:
    """The way of measuring with that key.

    Raises
    ------
    Refusal
        If there is none.
    """
    if key not in METHODS:
        raise Refusal(
            "There is no way of measuring called “{given}”. Known: {known}.",
            given=key,
            known=", ".join(METHODS),
        )
    return METHODS[key]
