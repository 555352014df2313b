"""Releasing a panel: letting it leave once all is proven (ISO 9001:2015, 8.6); taking that back; its way."""

import hashlib
from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.phrase import phrase
from qc_app.records.building import Panel
from qc_app.records.canonical import canonical
from qc_app.records.event import append_event
from qc_app.records.release import PacketCopy, Passage, Release, ReleaseWithdrawal
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work.find import LARGEST_NUMBER, NotFound, Visitor, sees_building
from qc_app.work.hold import refuse_other_plant
from qc_app.work.notices import PACKET_OUTDATED, RELEASE_WITHDRAWN, raise_notice
from qc_app.work.outbox.answer import Sentence
from qc_app.work.released import released
from qc_app.work.roles import Act, require
from qc_app.work.said import reason_of, refuse_long_note, storable
from qc_app.work.snapshot import snapshot_of
from qc_app.work.state import LOADED, SET, missing_for_release, state_of

__all__ = [
    "NotProven",
    "by_hash",
    "find_release",
    "passage",
    "release",
    "released",
    "snapshot_of",
    "withdraw",
]

NOT_RELEASED = {
    LOADED: phrase("{mark} is not released. The shop lead releases it first."),
    SET: phrase("{mark} is not released. Do not raise it; call the shop lead."),
}
HELD_SINCE = {
    LOADED: phrase("{mark} is held: {why}"),
    SET: phrase("{mark} is held since it was released. Do not raise it; call the shop lead. {why}"),
}


class NotProven(Refusal):
    """A panel cannot leave yet. ``missing`` says what is missing, one sentence each."""

    def __init__(self, mark: str, missing: list[Sentence]) -> None:
        self.missing = missing
        first = missing[0].words.format(**missing[0].facts)
        super().__init__("{mark} cannot leave: {why}", mark=mark, why=first)


def release(session: Session, person: Person, panel: Panel, now: datetime) -> Release:
    """Lets a panel leave, and freezes what the record says of it.

    Raises
    ------
    NotAllowed, NotProven, Refusal
        If the person may not; something is missing; the panel belongs to another plant or is released
        already.
    """
    require(person, Act.RELEASE)
    refuse_other_plant(person, panel)
    if released(session, panel) is not None:
        raise Refusal("{mark} is released already.", mark=panel.mark)
    missing = missing_for_release(session, panel, now)
    if missing:
        raise NotProven(panel.mark, missing)
    snapshot = canonical(snapshot_of(session, panel, now))
    sha256 = hashlib.sha256(snapshot).hexdigest()
    made = Release(panel=panel, person=person, released_at=now, snapshot=snapshot.decode(), sha256=sha256)
    session.add(made)
    _log(session, panel, "panel released", {"mark": panel.mark, "sha256": sha256}, now, person)
    return made


def withdraw(
    session: Session, person: Person, release: Release, reason: str, now: datetime
) -> ReleaseWithdrawal:
    """Takes a release back, and has everybody told who took a packet of the building.

    Raises
    ------
    NotAllowed, Refusal
        If the person may not, the panel belongs to another plant, no reason is given, or it is withdrawn
        already.
    """
    require(person, Act.RELEASE)
    panel = release.panel
    refuse_other_plant(person, panel)
    said = reason_of(reason)
    if release.withdrawal is not None:
        raise Refusal("This release of {mark} is withdrawn already.", mark=panel.mark)
    withdrawal = ReleaseWithdrawal(release=release, person=person, at=now, reason=said)
    session.add(withdrawal)
    facts = {"mark": panel.mark, "sha256": release.sha256, "reason": said}
    _log(session, panel, "release withdrawn", facts, now, person)
    _tell(session, withdrawal, now)
    return withdrawal


def find_release(session: Session, visitor: Visitor, panel: Panel, release_id: int) -> Release:
    """The release of a panel with that number. Raises NotFound if the visitor sees none."""
    found = session.get(Release, release_id) if release_id <= LARGEST_NUMBER else None
    if found is None or found.panel_id != panel.id or not sees_building(visitor, panel.building):
        raise NotFound("There is no such release in this plant.")
    return found


def by_hash(session: Session, sha256: str) -> Release | None:
    """The release whose frozen record has that SHA-256, in any plant of this log."""
    return session.scalars(select(Release).where(Release.sha256 == sha256)).first()


def passage(
    session: Session, person: Person, panel: Panel, what: str, now: datetime, remark: str = ""
) -> Passage:
    """Writes down that a panel was ``loaded``, or ``set`` on site.

    Raises
    ------
    NotAllowed, NotFound, Refusal
        If the person may not, the panel belongs to another plant or is of a building that they do not see,
        is not released, is held, or that was written down already; or the remark is too long.
    """
    require(person, Act.SET_PANEL if what == SET else Act.PLAN_LOADS)
    _refuse_unseen(person, panel)
    refuse_long_note(remark, "remark")
    _refuse_passing(session, panel, what, now)
    passed = Passage(panel_id=panel.id, what=what, person=person, at=now, remark=storable(remark))
    session.add(passed)
    facts = {"mark": panel.mark, "remark": passed.remark}
    _log(session, panel, f"panel {what}", facts, now, person)
    return passed


def _refuse_unseen(person: Person, panel: Panel) -> None:
    refuse_other_plant(person, panel)
    if not sees_building(person, panel.building):
        raise NotFound("There is no such panel in this plant.")


def _refuse_passing(session: Session, panel: Panel, what: str, now: datetime) -> None:
    if what not in (LOADED, SET):
        raise Refusal("A panel is loaded or set, not “{given}”.", given=what)
    state = state_of(session, panel, now)
    if state.set_at is not None:
        raise Refusal("{mark} is set already.", mark=panel.mark)
    if state.released is None:
        raise Refusal(NOT_RELEASED[what], mark=panel.mark)
    if what == LOADED and state.loaded_at is not None:
        raise Refusal("{mark} is loaded already.", mark=panel.mark)
    if state.holds:
        held = state.holds[0].sentence
        raise Refusal(HELD_SINCE[what], mark=panel.mark, why=held.words.format(**held.facts))


def _tell(session: Session, withdrawal: ReleaseWithdrawal, now: datetime) -> None:
    """Tells the shop lead and the quality manager, and names everybody who holds a packet of the building."""
    panel = withdrawal.release.panel
    facts = {
        "mark": panel.mark,
        "building": panel.building.code,
        "who": withdrawal.person.name,
        "reason": withdrawal.reason,
    }
    plant_id = panel.building.plant_id
    raise_notice(session, plant_id, RELEASE_WITHDRAWN, facts, now, panel=panel)
    for holder in _holders(session, withdrawal.release):
        told = {**facts, "name": holder.name, "person": holder.id}
        raise_notice(session, plant_id, PACKET_OUTDATED, told, now, panel=panel)


def _holders(session: Session, release: Release) -> list[Person]:
    """Everybody who took a packet of the building, by name."""
    took = select(PacketCopy.person_id).where(PacketCopy.building_id == release.panel.building_id)
    return list(session.scalars(select(Person).where(Person.id.in_(took)).order_by(Person.name)))


def _log(
    session: Session, panel: Panel, what: str, facts: Mapping[str, str | None], now: datetime, person: Person
) -> None:
    append_event(session, panel.building, what, dict(facts), at=now, person=person, panel_id=panel.id)
