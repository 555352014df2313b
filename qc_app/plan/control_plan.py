"""A control plan: kinds of panel with their routes, stations with their cautions, and all characteristics."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TypeVar

from qc_app.measure.conformity import Verdict
from qc_app.plan.characteristic import Characteristic, PutRight
from qc_app.plan.subject import Subject
from qc_app.refusal import Refusal
from qc_app.spc.patterns import ALL


@dataclass(frozen=True)
class Station:
    """A place of work; ``cautions`` are shown to whoever works there.

    At a hold point a panel waits until all its checks there are proven. From another station it counts as
    gone on once a later station has a reading; what is missing stays open and keeps it from leaving the shop.
    """

    key: str
    name: str
    cautions: tuple[str, ...]
    hold_point: bool = True


@dataclass(frozen=True)
class Kind:
    """A kind of panel, loose assembly or lot, and the stations it passes in order."""

    key: str
    name: str
    route: tuple[str, ...]
    is_lot: bool


@dataclass(frozen=True)
class Check:
    """One reading that the plan wants: a characteristic at a place."""

    characteristic: Characteristic
    place: str

    @property
    def key(self) -> "CheckKey":
        return self.characteristic.key, self.place


CheckKey = tuple[str, str]
"""Key of the characteristic and place: what a reading of a subject is a reading of."""

V = TypeVar("V")


@dataclass(frozen=True)
class ControlPlan:
    """One version of a control plan."""

    name: str
    stations: tuple[Station, ...]
    kinds: tuple[Kind, ...]
    characteristics: tuple[Characteristic, ...]
    uncertainties: Mapping[str, int] = field(default_factory=dict)
    """Standard uncertainty of one reading with each kind of instrument that states none of its own."""
    rules: tuple[str, ...] = ALL
    """Names of the run rules that control charts watch."""
    translations: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """What the plan says itself, by language and text; what is missing is shown as the plan writes it."""

    @cached_property
    def _stations(self) -> Mapping[str, Station]:
        return {station.key: station for station in self.stations}

    @cached_property
    def _kinds(self) -> Mapping[str, Kind]:
        return {kind.key: kind for kind in self.kinds}

    @cached_property
    def _characteristics(self) -> Mapping[tuple[str, str], Characteristic]:
        return {(c.kind, c.key): c for c in self.characteristics}

    def station(self, key: str) -> Station:
        """The station with that key; Refusal if the plan has none."""
        return _known(self._stations, key, "station")

    def kind(self, key: str) -> Kind:
        """The kind with that key; Refusal if the plan has none."""
        return _known(self._kinds, key, "kind of panel")

    def characteristic(self, kind: str, key: str) -> Characteristic:
        """What the plan says of a characteristic for a kind.

        Raises
        ------
        Refusal
            If the plan does not check it on that kind.
        """
        found = self._characteristics.get((kind, key))
        if found is None:
            raise Refusal(
                "The control plan has no characteristic “{given}” for {kind}.",
                given=key,
                kind=self.kind(kind).name,
            )
        return found

    def checks(self, subject: Subject, station: str) -> list[Check]:
        """The readings due on a subject at a station, in the order of the plan."""
        return [
            Check(characteristic, place)
            for characteristic in self.characteristics
            if characteristic.kind == subject.kind and characteristic.station == station
            for place in characteristic.due_places(subject)
        ]

    def together(self, subject: Subject, first: Check) -> list[Check]:
        """The checks typed on one page with this one, in the order of the plan; at least itself."""
        name = first.characteristic.together
        if not name:
            return [first]
        due = self.checks(subject, first.characteristic.station)
        return [check for check in due if check.characteristic.together == name] or [first]

    def waiting_at(self, subject: Subject, verdicts: Mapping[CheckKey, Verdict]) -> str | None:
        """Where the subject waits: the first station of its route with a check not yet proven within limits.

        A station that is no hold point is passed over once a later one has a reading, until nothing else is
        open. ``verdicts`` holds the newest verdict of each reading the subject has. None when nothing is left
        to prove.
        """
        passed = None
        for station in self.kind(subject.kind).route:
            if not unproven(self.checks(subject, station), verdicts):
                continue
            if self.station(station).hold_point or station not in self.behind(subject.kind, verdicts):
                return station
            passed = passed or station
        return passed

    def behind(self, kind: str, measured: Collection[CheckKey]) -> tuple[str, ...]:
        """The stations of a kind's route before the last one at which something was measured."""
        # A panel moved from another version may have readings of what this one does not check.
        known = (self._characteristics.get((kind, key)) for key, _place in measured)
        reached = {characteristic.station for characteristic in known if characteristic}
        route = self.kind(kind).route
        return route[: max((route.index(station) for station in reached), default=0)]

    def comes_after(self, kind: str, key: str, station: str) -> bool:
        """Whether a characteristic is checked further on in a kind's route than a station of it."""
        known, route = self._characteristics.get((kind, key)), self.kind(kind).route
        return known is not None and route.index(known.station) > route.index(station)

    def puts_right(self, kind: str, key: str) -> PutRight:
        """Who decides how a reading outside is put right; the lead where this version does not check it."""
        known = self._characteristics.get((kind, key))
        return PutRight.LEAD if known is None else known.put_right


def unproven(checks: Collection[Check], verdicts: Mapping[CheckKey, Verdict]) -> list[Check]:
    """The checks without a reading, or whose newest reading is not within its limits."""
    return [c for c in checks if verdicts.get(c.key) is not Verdict.WITHIN]


def _known(table: Mapping[str, V], key: str, what: str) -> V:
    if key not in table:
        raise Refusal(
            "The control plan has no {what} called “{given}”. Known: {known}.",
            what=what,
            given=key,
            known=", ".join(table),
        )
    return table[key]
