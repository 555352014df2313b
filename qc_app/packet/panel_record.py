"""One panel as a packet tells it: its checks station by station, and what is still open."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from qc_app.measure.conformity import Verdict
from qc_app.measure.length import Length, format_length
from qc_app.packet.panel_acts import NOTHING, NonconformityLine, PanelActs
from qc_app.packet.reading_line import Fate, ReadingLine, Scale, State, reading_line, target_text
from qc_app.packet.wording import check_text, counted, limits_text, not_recorded
from qc_app.plan.characteristic import Characteristic, Each, Requirement
from qc_app.plan.control_plan import Check, CheckKey
from qc_app.plan.quantity import Units
from qc_app.plan.subject import Subject
from qc_app.records.building import Panel
from qc_app.records.reading import Reading
from qc_app.records.standing import standing
from qc_app.refusal import Refusal


class ToldIn(Enum):
    """The table of a panel's page that a check stands in: that of all checks, or one row for each bay or
    penetration."""

    CHECKS = auto()
    BAYS = auto()
    PENETRATIONS = auto()


@dataclass(frozen=True)
class CheckLine:
    """One check with its newest reading that stands, and the earlier ones in order of time.

    ``due`` is False for a reading taken beyond what the plan asks.
    """

    name: str
    place: str
    due: bool
    target: str
    limits: str
    newest: ReadingLine | None
    earlier: tuple[ReadingLine, ...]
    detail: str = ""
    """What the schedule says of the place."""
    told_in: ToldIn = ToldIn.CHECKS
    accepted: str = ""
    """By which concession the newest reading was accepted as it is; empty where it was not."""

    @property
    def title(self) -> str:
        """Characteristic and place."""
        return check_text(self.name, self.place)

    @property
    def state(self) -> State:
        """The newest verdict, or why there is none."""
        if self.newest:
            return State(self.newest.verdict.value)
        return State.NOT_RECORDED if self.due else State.CORRECTED

    @property
    def open_point(self) -> str:
        """Plain sentence on what is not proven; empty when nothing is open."""
        if self.newest is None:
            return not_recorded(self.title) if self.due else ""
        if self.newest.verdict is Verdict.WITHIN or self.accepted:
            return ""
        return self.newest.unproven(self.title)


@dataclass(frozen=True)
class StationRecord:
    """The checks of one station."""

    name: str
    checks: tuple[CheckLine, ...]


@dataclass(frozen=True)
class PanelRecord:
    """One panel; sizes as printed."""

    mark: str
    kind: str
    length: str
    width: str
    depth: str
    run: str
    position: int
    raising_sequence: int
    stations: tuple[StationRecord, ...]
    acts: PanelActs = NOTHING
    made_again_for: str = ""

    @property
    def checks(self) -> tuple[CheckLine, ...]:
        """All checks, station by station."""
        return tuple(check for station in self.stations for check in station.checks)

    @property
    def open_points(self) -> tuple[str, ...]:
        """Plain sentences on all that is not proven."""
        if not any(check.due for check in self.checks):
            nothing = ("The control plan asks for no reading of this panel, so nothing is proven.",)
            return nothing + self._unproven
        return self._unproven

    @property
    def _unproven(self) -> tuple[str, ...]:
        return (
            *(check.open_point for check in self.checks if check.open_point),
            *(f"Nonconformity {one.number} is open: {one.what.rstrip('.')}." for one in self._opened),
        )

    @property
    def _opened(self) -> tuple[NonconformityLine, ...]:
        """The open nonconformities that no check's own sentence tells of."""
        told = {check.title for check in self.checks if check.open_point}
        return tuple(one for one in self.acts.nonconformities if one.is_open and one.check not in told)

    @property
    def is_proven(self) -> bool:
        """Whether nothing is open: a reading beyond the plan that is outside its limits counts as open."""
        return not self.open_points

    @property
    def accepted(self) -> int:
        """How many of its checks are not within limits but accepted by concession."""
        return sum(bool(check.accepted) for check in self.checks)

    def count(self, state: State) -> int:
        """How many of its checks are in that state."""
        return sum(check.state is state for check in self.checks)

    @property
    def summary(self) -> str:
        """Its state in a few words."""
        if self.is_proven:
            within = counted(len(self.checks) - self.accepted, "check", "checks")
            accepted = f", {self.accepted} accepted by concession" if self.accepted else ""
            return f"Proven: {within} within limits{accepted}"
        open_states = (State.OUTSIDE, State.UNCLEAR, State.NOT_RECORDED)
        parts = [f"{self.count(state)} {state}" for state in open_states if self.count(state)]
        opened = len(self._opened)
        parts += [counted(opened, "nonconformity", "nonconformities")] if opened else []
        return "Open: " + (", ".join(parts) or "no checks in the control plan")


def panel_record(
    panel: Panel, readings: Sequence[Reading], scale: Scale, acts: PanelActs = NOTHING
) -> PanelRecord:
    """What is known of a panel from its readings, given in the order they were measured, and from acts."""
    length, width, depth = (
        format_length(Length.from_nanometres(size), scale.units.denominator, scale.units.system)
        for size in (panel.length, panel.width, panel.depth)
    )
    return PanelRecord(
        mark=panel.mark,
        kind=panel.control_plan.plan.kind(panel.kind).name,
        length=length,
        width=width,
        depth=depth,
        run=panel.run,
        position=panel.position,
        raising_sequence=panel.raising_sequence,
        stations=_stations(panel, _lines_by_check(panel, readings, scale), scale.units, acts.accepted),
        acts=acts,
        made_again_for=panel.predecessor.mark if panel.predecessor else "",
    )


def _lines_by_check(
    panel: Panel, readings: Sequence[Reading], scale: Scale
) -> dict[CheckKey, list[ReadingLine]]:
    standing_ids = {reading.id for reading in standing(readings).values()}
    reasons = {reading.supersedes_id: reading.reason for reading in readings if reading.supersedes_id}
    subject = panel.subject
    lines: defaultdict[CheckKey, list[ReadingLine]] = defaultdict(list)
    for reading in readings:
        fate = Fate.CORRECTED if reading.id in reasons else Fate.MEASURED_AGAIN
        line = reading_line(
            reading,
            _characteristic(panel, reading.characteristic.key),
            subject,
            Fate.STANDS if reading.id in standing_ids else fate,
            scale,
            reasons.get(reading.id, ""),
        )
        lines[reading.characteristic.key, reading.place].append(line)
    return dict(lines)


def _characteristic(panel: Panel, key: str) -> Characteristic | None:
    try:
        return panel.control_plan.plan.characteristic(panel.kind, key)
    except Refusal:
        return None


def _stations(
    panel: Panel,
    lines: Mapping[CheckKey, Sequence[ReadingLine]],
    units: Units,
    accepted: Mapping[str, str],
) -> tuple[StationRecord, ...]:
    """Stations of the route in order, each with its due checks and then what was read beyond them."""
    plan, subject = panel.control_plan.plan, panel.subject
    checks: defaultdict[str, list[CheckLine]] = defaultdict(list)
    due: set[CheckKey] = set()
    for station in plan.kind(panel.kind).route:
        for check in plan.checks(subject, station):
            key = (check.characteristic.key, check.place)
            due.add(key)
            checks[plan.station(station).name].append(_due(check, subject, lines.get(key, ()), units))
    for key, beyond in lines.items():
        if key not in due:
            checks[beyond[0].station].append(_beyond(beyond))
    return tuple(
        StationRecord(name, tuple(_with_concession(check, accepted) for check in found))
        for name, found in checks.items()
    )


def _with_concession(check: CheckLine, accepted: Mapping[str, str]) -> CheckLine:
    said = accepted.get(check.newest.uuid, "") if check.newest else ""
    return replace(check, accepted=said) if said else check


def _due(check: Check, subject: Subject, lines: Sequence[ReadingLine], units: Units) -> CheckLine:
    newest, earlier = _newest_and_earlier(lines)
    requirement = newest.requirement if newest else _requirement(check, subject)
    quantity = check.characteristic.quantity
    return CheckLine(
        name=check.characteristic.name,
        place=check.place,
        due=True,
        target=target_text(quantity, requirement, units),
        limits=limits_text(quantity, requirement, units),
        newest=newest,
        earlier=earlier,
        detail=check.characteristic.detail(subject, check.place),
        told_in=_told_in(check.characteristic),
    )


def _told_in(characteristic: Characteristic) -> ToldIn:
    if characteristic.method.key == "fill":
        return ToldIn.BAYS
    return ToldIn.PENETRATIONS if characteristic.each is Each.PENETRATION else ToldIn.CHECKS


def _requirement(check: Check, subject: Subject) -> Requirement:
    try:
        return check.characteristic.requirement(subject, check.place)
    except Refusal:
        # The plan has no limits for this size; the packet still says that nothing was recorded.
        return Requirement(None, None, None)


def _beyond(lines: Sequence[ReadingLine]) -> CheckLine:
    newest, earlier = _newest_and_earlier(lines)
    last = newest or lines[-1]
    return CheckLine(last.name, last.place, False, last.target, last.limits, newest, earlier)


def _newest_and_earlier(
    lines: Sequence[ReadingLine],
) -> tuple[ReadingLine | None, tuple[ReadingLine, ...]]:
    newest = next((line for line in lines if line.fate is Fate.STANDS), None)
    return newest, tuple(line for line in lines if line is not newest)
