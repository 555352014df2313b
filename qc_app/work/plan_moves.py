"""Moving a panel that has started to a newer version of the control plan: a decision on record."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.plan.control_plan import Check
from qc_app.records.building import Panel
from qc_app.records.control_plan import ControlPlan
from qc_app.records.event import append_event
from qc_app.records.reading import Reading
from qc_app.records.release import Release, ReleaseWithdrawal
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound
from qc_app.work.nonconformity import open_by_move
from qc_app.work.plan_versions import has_started
from qc_app.work.rejudge import Rejudging
from qc_app.work.roles import Act, require
from qc_app.work.said import reason_of
from qc_app.work.standing import place_item, readings_of, standing


@dataclass(frozen=True)
class Rejudged:
    """A reading that stands, with what it was judged and what it would be under another version."""

    reading: Reading
    would_be: str

    @property
    def changes(self) -> bool:
        return self.reading.verdict != self.would_be

    @property
    def is_due_again(self) -> bool:
        """Whether it proved its check and no longer would."""
        would_fail = self.would_be in (Verdict.OUTSIDE, Verdict.UNCLEAR)
        return self.reading.verdict == Verdict.WITHIN and would_fail


@dataclass(frozen=True)
class Move:
    """What moving a panel would do: its standing readings judged anew, and checks that come in addition."""

    panel: Panel
    version: ControlPlan
    rejudged: tuple[Rejudged, ...]
    added: tuple[Check, ...]

    @property
    def due_again(self) -> tuple[Rejudged, ...]:
        """The readings whose checks have to be made again."""
        return tuple(one for one in self.rejudged if one.is_due_again)


def move_of(session: Session, person: Person, panel: Panel, version: ControlPlan, now: datetime) -> Move:
    """What moving a panel to a version would change; nothing is moved yet.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not; the panel or the version is another plant's; the version is not newer or not
        in force yet, or has no such kind of panel; or the panel has not started, was scrapped, or may leave.
    """
    require(person, Act.EDIT_PLAN)
    _refuse_elsewhere(person, panel, version)
    _refuse_version(panel, version, now)
    _refuse_panel(session, panel)
    rejudging, subject = Rejudging(version.plan), panel.subject
    newest = standing(readings_of(session, panel))
    rejudged = tuple(
        Rejudged(
            reading,
            rejudging.verdict(panel.id, lambda: subject, key, reading.amount, reading.standard_uncertainty),
        )
        for key, reading in newest.items()
    )
    before = {(c.characteristic.key, c.place) for c in _checks(panel, panel.control_plan)}
    added = [c for c in _checks(panel, version) if (c.characteristic.key, c.place) not in {*before, *newest}]
    return Move(panel, version, rejudged, tuple(added))


def move_panel(
    session: Session, person: Person, panel: Panel, version: ControlPlan, reason: str, now: datetime
) -> Move:
    """Has a panel that has started judged by a newer version from now on.

    Its readings stay as they were stored. Where one no longer proves its check, a nonconformity is opened:
    the check has to be made again, or what was read accepted as it is.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        As ``move_of`` does, or if no reason is given.
    """
    require(person, Act.EDIT_PLAN)
    move = move_of(session, person, panel, version, now)
    said = reason_of(reason)
    facts = {
        "mark": panel.mark,
        "from": panel.control_plan.version,
        "to": version.version,
        "reason": said,
        "due_again": [_named(one.reading) for one in move.due_again],
        "judged": {_named(one.reading): one.would_be for one in move.rejudged if one.changes},
    }
    panel.control_plan = version
    append_event(
        session,
        panel.building,
        "panel moved to another control plan",
        facts,
        at=now,
        person=person,
        panel_id=panel.id,
    )
    for one in move.due_again:
        open_by_move(session, person, panel, one.reading, now)
    place_item(session, panel)
    return move


def newer_versions(session: Session, panel: Panel, now: datetime) -> list[ControlPlan]:
    """The versions that a panel can be moved to, newest first."""
    came_later = select(ControlPlan).where(
        ControlPlan.plant_id == panel.building.plant_id,
        ControlPlan.version > panel.control_plan.version,
        ControlPlan.in_force_from <= now,
    )
    found = session.scalars(came_later.order_by(ControlPlan.version.desc()))
    return [version for version in found if _has_kind(panel, version)]


def _named(reading: Reading) -> str:
    return f"{reading.characteristic.key} {reading.place}".strip()


def _checks(panel: Panel, version: ControlPlan) -> list[Check]:
    plan, subject = version.plan, panel.subject
    return [check for station in plan.kind(panel.kind).route for check in plan.checks(subject, station)]


def _has_kind(panel: Panel, version: ControlPlan) -> bool:
    return any(kind.key == panel.kind and not kind.is_lot for kind in version.plan.kinds)


def _refuse_elsewhere(person: Person, panel: Panel, version: ControlPlan) -> None:
    if panel.building.plant_id != person.plant_id:
        raise NotFound("There is no such panel in this plant.")
    if version.plant_id != person.plant_id:
        raise NotFound("There is no such version of the control plan in this plant.")


def _refuse_version(panel: Panel, version: ControlPlan, now: datetime) -> None:
    if version.version <= panel.control_plan.version:
        raise Refusal(
            "{mark} is under version {own}; it moves to a newer one only. Given: {version}.",
            mark=panel.mark,
            own=panel.control_plan.version,
            version=version.version,
        )
    if version.in_force_from > now:
        raise Refusal(
            "Version {version} is not in force yet, so {mark} cannot move to it.",
            mark=panel.mark,
            version=version.version,
        )
    if not _has_kind(panel, version):
        raise Refusal(
            "Version {version} has no panels of the kind that {mark} is.",
            mark=panel.mark,
            version=version.version,
        )


def _refuse_panel(session: Session, panel: Panel) -> None:
    if not has_started(session, panel):
        raise Refusal(
            "{mark} has no reading yet; it follows the version in force by itself.", mark=panel.mark
        )
    if panel.scrapped_at is not None:
        raise Refusal("{mark} was scrapped.", mark=panel.mark)
    released = (
        select(Release.id)
        .outerjoin(ReleaseWithdrawal, ReleaseWithdrawal.release_id == Release.id)
        .where(Release.panel_id == panel.id, ReleaseWithdrawal.release_id.is_(None))
    )
    if session.scalars(released.limit(1)).first() is not None:
        raise Refusal(
            "{mark} is released; what it was released by stays. Withdraw the release first.", mark=panel.mark
        )
