"""What state panels are in. All of it follows from the record; nobody types it.

A panel is held by an open nonconformity, by an unclear reading that was not measured again, by a check that
is missing at a hold point behind it, by a chart signal where the plan says so, by a person, or by an
instrument that was found wrong. A hold keeps it from leaving the shop; it never keeps anybody from measuring.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

from sqlalchemy import case, exists, func, select
from sqlalchemy.orm import Session, aliased, defer, joinedload, selectinload

from qc_app.measure.conformity import Verdict
from qc_app.phrase import phrase
from qc_app.plan.characteristic import PutRight
from qc_app.plan.control_plan import Check, CheckKey, unproven
from qc_app.records.building import Building, Panel
from qc_app.records.control_plan import Characteristic
from qc_app.records.hold import Hold
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Passage, Release, ReleaseWithdrawal
from qc_app.records.shop import Person, Station
from qc_app.work.nonconformity import WORDS
from qc_app.work.roles import Act, may
from qc_app.work.sentence import Sentence, sentence
from qc_app.work.standing import Decided, decided
from qc_app.work.waiting import Due

OUTSIDE, UNCLEAR, MISSING = "outside", "unclear", "missing"
IN_WORK, HELD, FREE, RELEASED, LOADED, SET, SCRAPPED = (
    "in_work",
    "held",
    "free",
    "released",
    "loaded",
    "set",
    "scrapped",
)

PUT_RIGHT = {
    PutRight.HERE: phrase(
        "Nonconformity {number}: {name} is outside its limits. Put it right and measure again, or ask the "
        "shop lead."
    ),
    PutRight.LEAD: phrase(
        "Nonconformity {number}: {name} is outside its limits. Ask the shop lead, who decides what is done."
    ),
}
MEASURE_AGAIN = phrase("Nonconformity {number}: {name}. {who} decided: {said}. Do it, then measure again.")
OPENED_BY_PERSON = {
    False: phrase("Nonconformity {number}: “{reason}” Ask the shop lead, who decides what is done."),
    True: phrase(
        "Nonconformity {number}: “{reason}” {who} decided: {said}. Do it, then ask the shop lead to look at "
        "it."
    ),
}


ON_HOLD = {
    "signal": phrase(
        "On hold for a signal on the chart {name}. Find what changed; then the shop lead lifts it."
    ),
    "instrument": phrase(
        "On hold: measured with {what}, which was found wrong. Measure again with another; the hold then "
        "ends by itself."
    ),
    "person": phrase("On hold by {who}: “{reason}” The shop lead lifts it."),
}

TO_WHOEVER_LEADS: Mapping[str, str] = {
    PUT_RIGHT[PutRight.HERE]: phrase(
        "Nonconformity {number}: {name} is outside its limits. Have it put right and measured again, or "
        "decide what is done."
    ),
    PUT_RIGHT[PutRight.LEAD]: phrase(
        "Nonconformity {number}: {name} is outside its limits. Decide what is done."
    ),
    OPENED_BY_PERSON[False]: phrase("Nonconformity {number}: “{reason}” Decide what is done."),
    OPENED_BY_PERSON[True]: phrase(
        "Nonconformity {number}: “{reason}” {who} decided: {said}. Once it is done, look at it again and "
        "close it."
    ),
    ON_HOLD["signal"]: phrase("On hold for a signal on the chart {name}. Find what changed, then lift it."),
    ON_HOLD["person"]: phrase("On hold by {who}: “{reason}” Once that is settled, lift it."),
}
"""What those read who decide themselves, for each sentence that sends others to the shop lead."""


@dataclass(frozen=True)
class Held:
    """One thing that holds a panel, and in one sentence what it is and what to do about it."""

    why: str
    sentence: Sentence
    since: datetime
    what: Nonconformity | Hold | Reading | None


@dataclass(frozen=True)
class PanelState:
    """Where a panel is and what keeps it there, as known ``at`` a time.

    ``due`` is what is not proven yet, where one asked for it.
    """

    panel: Panel
    at: datetime
    waiting_at: str | None
    holds: tuple[Held, ...]
    released: Release | None
    loaded_at: datetime | None
    set_at: datetime | None
    due: tuple[Due, ...] = ()

    @property
    def is_held(self) -> bool:
        return bool(self.holds)

    @property
    def scrapped_at(self) -> datetime | None:
        return self.panel.scrapped_at

    @property
    def is_proven(self) -> bool:
        """Whether all of it is proven and nothing has come up since."""
        return not self.is_held and self.standing not in (IN_WORK, SCRAPPED)

    @property
    def is_flagged(self) -> bool:
        """Whether something came up after it was released."""
        return self.released is not None and self.is_held

    @property
    def standing(self) -> str:
        """One word for it: what has happened to it last, or else whether it may leave."""
        happened = (
            (SCRAPPED, self.scrapped_at),
            (SET, self.set_at),
            (LOADED, self.loaded_at),
            (RELEASED, self.released),
        )
        last = next((word for word, since in happened if since is not None), None)
        return last or (HELD if self.is_held else IN_WORK if self.waiting_at is not None else FREE)


def state_of(session: Session, panel: Panel, now: datetime) -> PanelState:
    """The state of one panel, worked out from its readings, with what is due on it."""
    record = _record_of(session, [panel], [panel.id])
    due = tuple(_due(session, panel, record))
    return replace(_state(panel, record, now), due=due)


def states_of(session: Session, building: Building, now: datetime) -> list[PanelState]:
    """The states of all panels of a building in raising sequence, without what is due on each."""
    return states_in(session, [building], now)


def states_in(session: Session, buildings: Collection[Building], now: datetime) -> list[PanelState]:
    """The same of several buildings at once, building by building, with no more questions than for one."""
    ids = [building.id for building in buildings]
    panels = session.scalars(
        select(Panel)
        .where(Panel.building_id.in_(ids))
        .order_by(Panel.building_id, Panel.raising_sequence, Panel.id)
        # A plan's document is long: it is fetched once for each plan, not with each panel.
        .options(selectinload(Panel.control_plan), selectinload(Panel.building))
    ).all()
    record = _record_of(session, panels, _to_look_into(session, ids, panels))
    return [_state(panel, record, now) for panel in panels]


def missing_for_release(session: Session, panel: Panel, now: datetime) -> list[Sentence]:
    """What keeps a panel from being released, one sentence each; nothing where it may leave."""
    state = state_of(session, panel, now)
    if state.scrapped_at is not None:
        return [sentence(phrase("{mark} was scrapped."), mark=panel.mark)]
    told = {key for held in state.holds if (key := _check_of(held.what)) is not None}
    open_checks = [due for due in state.due if due.check.key not in told]
    held = [held.sentence for held in state.holds if held.why != MISSING]
    return [*held, *(_open_check(panel, due) for due in open_checks)]


def as_told_to(person: Person, told: Sentence) -> Sentence:
    """A sentence about a hold as somebody reads it: whoever decides is not sent to the shop lead."""
    if not may(person, Act.DECIDE_REWORK):
        return told
    return Sentence(TO_WHOEVER_LEADS.get(told.words, told.words), told.facts)


@dataclass(frozen=True)
class _Read:
    """What counts of a reading that stands."""

    number: int
    verdict: Verdict
    measured_at: datetime


Standing = Mapping[CheckKey, _Read]


@dataclass(frozen=True)
class _Record:
    """What the log says of some panels, by their numbers. ``standing`` is of those looked into only."""

    standing: Mapping[int, Standing]
    decided: Decided
    unclear: Mapping[int, Reading]
    nonconformities: Mapping[int, list[Nonconformity]]
    holds: Mapping[int, list[Hold]]
    releases: Mapping[int, Release]
    passages: Mapping[tuple[int, str], datetime]

    def verdicts(self, panel: Panel) -> dict[CheckKey, Verdict]:
        """What the reading of each check counts as."""
        standing = self.standing[panel.id]
        return {key: self.decided.verdict(read.number, read.verdict) for key, read in standing.items()}


def _record_of(session: Session, panels: Sequence[Panel], look_into: Collection[int]) -> _Record:
    ids = [panel.id for panel in panels]
    _load_sizes(session, look_into)
    after_all = decided(session, look_into)
    standing = _standing(session, look_into)
    unclear = [
        read.number
        for checks in standing.values()
        for read in checks.values()
        if read.verdict is Verdict.UNCLEAR and read.number not in after_all.accepted
    ]
    return _Record(
        standing,
        after_all,
        _readings(session, unclear),
        _by_panel(_open_nonconformities(session, ids)),
        _by_panel(_holds_in_force(session, ids)),
        {release.panel_id: release for release in _releases(session, ids)},
        _passages(session, ids),
    )


def _to_look_into(session: Session, buildings: Collection[int], panels: Sequence[Panel]) -> set[int]:
    """The panels whose readings may hold them: with one unclear, or one past the hold point they wait at.

    Readings outside have opened nonconformities, and ``waiting_at`` says what else is open.
    """
    is_unclear = func.max(case((Reading.verdict == Verdict.UNCLEAR.value, 1), else_=0))
    rows = session.execute(
        select(Reading.panel_id, Reading.station_id, is_unclear)
        .join(Panel, Reading.panel_id == Panel.id)
        .where(Panel.building_id.in_(buildings))
        .group_by(Reading.panel_id, Reading.station_id)
    ).all()
    keys: dict[int, str] = dict(session.execute(select(Station.id, Station.key)).all())
    reached: dict[int, set[str]] = defaultdict(set)
    for panel_id, station_id, _unclear in rows:
        reached[panel_id].add(keys[station_id])
    return {panel_id for panel_id, _station, unclear in rows if unclear} | {
        panel.id for panel in panels if _went_past(panel, reached[panel.id])
    }


def _went_past(panel: Panel, reached: AbstractSet[str]) -> bool:
    """Whether something was measured behind the hold point at which the panel waits."""
    plan = panel.control_plan.plan
    if panel.waiting_at is None or not plan.station(panel.waiting_at).hold_point:
        return False
    route = plan.kind(panel.kind).route
    return not reached.isdisjoint(route[route.index(panel.waiting_at) + 1 :])


def _load_sizes(session: Session, ids: Collection[int]) -> None:
    """Loads at once what ``Panel.subject`` asks of each panel."""
    parts = (Panel.bays, Panel.connectors, Panel.penetrations)
    session.scalars(select(Panel).where(Panel.id.in_(ids)).options(*map(selectinload, parts))).all()


def _standing(session: Session, ids: Collection[int]) -> dict[int, dict[CheckKey, _Read]]:
    """The newest reading of each check that was not corrected, found by the database: most are older."""
    later = aliased(Reading)
    from_newest = func.row_number().over(
        partition_by=(Reading.panel_id, Characteristic.key, Reading.place),
        order_by=(Reading.measured_at.desc(), Reading.id.desc()),
    )
    left = (
        select(
            Reading.panel_id,
            Characteristic.key,
            Reading.place,
            Reading.id,
            Reading.verdict,
            Reading.measured_at,
            from_newest.label("from_newest"),
        )
        .join(Characteristic, Reading.characteristic_id == Characteristic.id)
        .where(Reading.panel_id.in_(ids), ~exists().where(later.supersedes_id == Reading.id))
        .subquery()
    )
    rows = session.execute(
        select(left).where(left.c.from_newest == 1).order_by(left.c.measured_at, left.c.id)
    )
    found: dict[int, dict[CheckKey, _Read]] = {number: {} for number in ids}
    for panel_id, key, place, number, verdict, measured_at, _ in rows:
        found[panel_id][key, place] = _Read(number, Verdict(verdict), measured_at)
    return found


def _readings(session: Session, numbers: Collection[int]) -> dict[int, Reading]:
    query = select(Reading).where(Reading.id.in_(numbers)).options(joinedload(Reading.characteristic))
    return {reading.id: reading for reading in session.scalars(query)}


def _open_nonconformities(session: Session, ids: Collection[int]) -> Iterable[Nonconformity]:
    return session.scalars(
        select(Nonconformity)
        .where(Nonconformity.panel_id.in_(ids), Nonconformity.closed_at.is_(None))
        .order_by(Nonconformity.id)
        .options(selectinload(Nonconformity.dispositions).joinedload(Disposition.person))
    )


def _holds_in_force(session: Session, ids: Collection[int]) -> Iterable[Hold]:
    return session.scalars(
        select(Hold)
        .where(Hold.panel_id.in_(ids), Hold.lifted_at.is_(None))
        .order_by(Hold.id)
        .options(joinedload(Hold.placed_by))
    )


def _releases(session: Session, ids: Collection[int]) -> Iterable[Release]:
    """Those that were not withdrawn, oldest first; without what they froze, which is long."""
    withdrawn = select(ReleaseWithdrawal.release_id)
    return session.scalars(
        select(Release)
        .where(Release.panel_id.in_(ids), Release.id.not_in(withdrawn))
        .order_by(Release.id)
        .options(defer(Release.snapshot))
    )


def _passages(session: Session, ids: Collection[int]) -> dict[tuple[int, str], datetime]:
    query = select(Passage.panel_id, Passage.what, func.max(Passage.at)).where(Passage.panel_id.in_(ids))
    rows = session.execute(query.group_by(Passage.panel_id, Passage.what))
    return {(panel_id, what): at for panel_id, what, at in rows}


OfPanel = TypeVar("OfPanel", Nonconformity, Hold)


def _by_panel(listed: Iterable[OfPanel]) -> dict[int, list[OfPanel]]:
    found: dict[int, list[OfPanel]] = defaultdict(list)
    for one in listed:
        found[one.panel_id].append(one)
    return found


def _state(panel: Panel, record: _Record, now: datetime) -> PanelState:
    release = record.releases.get(panel.id)
    loaded_at = record.passages.get((panel.id, LOADED))
    if release is None or (loaded_at is not None and loaded_at < release.released_at):
        loaded_at = None  # it came back, and waits for another release
    return PanelState(
        panel,
        now,
        _waiting_at(panel, record),
        tuple(_holds(panel, record)) if panel.scrapped_at is None else (),
        release,
        loaded_at,
        record.passages.get((panel.id, SET)),
    )


def _waiting_at(panel: Panel, record: _Record) -> str | None:
    if panel.scrapped_at is not None:
        return None
    if panel.id not in record.standing:
        return panel.waiting_at
    return panel.control_plan.plan.waiting_at(panel.subject, record.verdicts(panel))


def _holds(panel: Panel, record: _Record) -> Iterator[Held]:
    nonconformities = record.nonconformities.get(panel.id, [])
    told = {(one.characteristic, one.place) for one in nonconformities}
    for one in nonconformities:
        yield Held(OUTSIDE, _outside(panel, one), one.opened_at, one)
    for key, read in record.standing.get(panel.id, {}).items():
        if read.number in record.unclear and key not in told:
            reading = record.unclear[read.number]
            yield Held(UNCLEAR, _unclear(reading), reading.measured_at, reading)
    if panel.id in record.standing:
        yield from _missing_behind(panel, record.standing[panel.id])
    for hold in record.holds.get(panel.id, []):
        yield Held(hold.why, _on_hold(hold), hold.placed_at, hold)


def _missing_behind(panel: Panel, standing: Standing) -> Iterator[Held]:
    """The hold points that the panel went past with checks missing."""
    plan, subject = panel.control_plan.plan, panel.subject
    for station in plan.behind(panel.kind, standing):
        if not plan.station(station).hold_point:
            continue
        missing = [check for check in plan.checks(subject, station) if check.key not in standing]
        if missing:
            yield Held(
                MISSING,
                _missing(missing, plan.station(station).name),
                _passed_at(panel, station, standing),
                None,
            )


def _passed_at(panel: Panel, station: str, standing: Standing) -> datetime:
    """When something was first measured at a station behind this one."""
    plan = panel.control_plan.plan
    return min(
        read.measured_at for (key, _), read in standing.items() if plan.comes_after(panel.kind, key, station)
    )


def _due(session: Session, panel: Panel, record: _Record) -> Iterator[Due]:
    plan, verdicts, standing = panel.control_plan.plan, record.verdicts(panel), record.standing[panel.id]
    if panel.scrapped_at is not None:
        return
    route = plan.kind(panel.kind).route
    checks = [c for station in route for c in unproven(plan.checks(panel.subject, station), verdicts)]
    numbers = [standing[check.key].number for check in checks if check.key in standing]
    readings = _readings(session, numbers)
    for check in checks:
        read = standing.get(check.key)
        yield Due(check, readings[read.number] if read is not None else None, verdicts.get(check.key))


def _check_of(what: object) -> CheckKey | None:
    """The check that something is about."""
    if isinstance(what, Nonconformity):
        return what.characteristic, what.place
    return (what.characteristic.key, what.place) if isinstance(what, Reading) else None


def _named(name: str, place: str) -> str:
    return f"{name}, {place}" if place else name


def _outside(panel: Panel, one: Nonconformity) -> Sentence:
    decided = one.dispositions[-1] if one.dispositions else None
    facts: dict[str, str | int] = {"number": one.number}
    if decided is not None:
        facts |= {"who": decided.person.name, "said": WORDS[decided.kind]}
    if not one.characteristic:
        words = OPENED_BY_PERSON[decided is not None]
        return sentence(words, reason=one.what, **facts)
    puts_right = panel.control_plan.plan.puts_right(panel.kind, one.characteristic)
    words = MEASURE_AGAIN if decided is not None else PUT_RIGHT[puts_right]
    return sentence(words, name=one.what.partition(": ")[0], **facts)


def _unclear(reading: Reading) -> Sentence:
    words = phrase(
        "{name} is unclear: nearer to its limit than the measurement can tell. Measure it again, or with a "
        "better instrument."
    )
    return sentence(words, name=_named(reading.characteristic.name, reading.place))


def _missing(checks: Sequence[Check], station: str) -> Sentence:
    if len(checks) == 1:
        words = phrase("{name} is missing at {station}, and the panel went on. Measure it there.")
        return sentence(words, name=_named(checks[0].characteristic.name, checks[0].place), station=station)
    words = phrase("{count} checks are missing at {station}, and the panel went on. Measure them there.")
    return sentence(words, count=len(checks), station=station)


def _on_hold(hold: Hold) -> Sentence:
    match hold.why:
        case "signal":
            return sentence(ON_HOLD["signal"], name=hold.facts["chart"])
        case "instrument":
            return sentence(ON_HOLD["instrument"], what=hold.facts["instrument"])
    who = hold.placed_by.name if hold.placed_by else "?"
    return sentence(ON_HOLD["person"], who=who, reason=hold.reason)


def _open_check(panel: Panel, due: Due) -> Sentence:
    station = panel.control_plan.plan.station(due.check.characteristic.station).name
    name = _named(due.check.characteristic.name, due.check.place)
    if due.verdict is None:
        words = phrase("{name} has no reading. Measure it at {station}.")
        return sentence(words, name=name, station=station)
    words = phrase("{name} is {verdict}. Measure it again at {station}.")
    return sentence(words, name=name, verdict=due.verdict.value, station=station)
