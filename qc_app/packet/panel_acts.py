"""What was decided about a building's panels, as a packet tells it: releases, nonconformities, lots used."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from types import MappingProxyType
from typing import TypeVar

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, selectinload

from qc_app.packet.wording import short_time
from qc_app.records.building import Building, Panel
from qc_app.records.material import LotUse
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.reading import Reading
from qc_app.records.release import Release

DECIDED = {
    "rework": "To be reworked",
    "repair": "To be repaired",
    "accept": "Accepted as it is",
    "scrap": "To be scrapped",
    "confirmed": "Looked at again and found right",
}

CLOSED = {
    "rework": "put right and measured again",
    "repair": "repaired and measured again",
    "accept": "accepted as it is by concession",
    "scrap": "scrapped",
    "correction": "the reading was typed wrong and corrected",
}


@dataclass(frozen=True)
class ReleaseLine:
    """Who released a panel, when, and the hash of the record frozen then.

    At ``address`` anybody can ask whether the release still stands.
    """

    by: str
    at: datetime
    sha256: str
    address: str


@dataclass(frozen=True)
class NonconformityLine:
    """One nonconformity, and sentences on what was decided and how it ended.

    ``check`` is the title of the check that it is about; empty where a person opened it.
    """

    number: int
    what: str
    told: tuple[str, ...]
    is_open: bool
    check: str


@dataclass(frozen=True)
class PanelActs:
    """What was decided about one panel. ``accepted`` names readings by UUID and says by which concession."""

    release: ReleaseLine | None = None
    withdrawn: tuple[str, ...] = ()
    nonconformities: tuple[NonconformityLine, ...] = ()
    lots: tuple[str, ...] = ()
    accepted: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


NOTHING = PanelActs()


def acts_by_panel(session: Session, building: Building, zone: tzinfo, verify: str) -> Mapping[int, PanelActs]:
    """What was decided about each panel of a building, by the panel's number."""
    releases = _by_panel(_releases(session, building))
    nonconformities = _by_panel(_nonconformities(session, building))
    lots = _by_panel(_lot_uses(session, building))
    accepted = _accepted(session, building)
    return {
        number: PanelActs(
            release=_release(releases[number], zone, verify),
            withdrawn=tuple(_withdrawn(one, zone) for one in releases[number] if one.withdrawal),
            nonconformities=tuple(_nonconformity(one, zone) for one in nonconformities[number]),
            lots=tuple(dict.fromkeys(map(_lot, lots[number]))),
            accepted={
                accepted[one.closing_reading_id]: _concession(one)
                for one in nonconformities[number]
                if one.closing_reading_id in accepted
            },
        )
        for number in {*releases, *nonconformities, *lots}
    }


OfPanel = TypeVar("OfPanel", Release, Nonconformity, LotUse)


def _by_panel(listed: Iterable[OfPanel]) -> defaultdict[int, list[OfPanel]]:
    found: defaultdict[int, list[OfPanel]] = defaultdict(list)
    for one in listed:
        found[one.panel_id].append(one)
    return found


def _releases(session: Session, building: Building) -> Iterable[Release]:
    return session.scalars(
        select(Release)
        .join(Panel, Release.panel_id == Panel.id)
        .where(Panel.building_id == building.id)
        .order_by(Release.id)
        .options(joinedload(Release.person), selectinload(Release.withdrawal))
    )


def _nonconformities(session: Session, building: Building) -> Iterable[Nonconformity]:
    return session.scalars(
        select(Nonconformity)
        .where(Nonconformity.building_id == building.id)
        .order_by(Nonconformity.number)
        .options(selectinload(Nonconformity.dispositions).joinedload(Disposition.person))
    )


def _lot_uses(session: Session, building: Building) -> Iterable[LotUse]:
    return session.scalars(
        select(LotUse)
        .join(Panel, LotUse.panel_id == Panel.id)
        .where(Panel.building_id == building.id)
        .order_by(LotUse.id)
        .options(joinedload(LotUse.material_lot), joinedload(LotUse.lot), joinedload(LotUse.station))
    )


def _accepted(session: Session, building: Building) -> dict[int | None, str]:
    """The UUIDs of readings accepted by concession, by their numbers."""
    rows = session.execute(
        select(Reading.id, Reading.uuid)
        .join(Nonconformity, Nonconformity.closing_reading_id == Reading.id)
        .where(Nonconformity.building_id == building.id, Nonconformity.closed_how == "accept")
    )
    return {number: str(uuid) for number, uuid in rows}


def _release(releases: list[Release], zone: tzinfo, verify: str) -> ReleaseLine | None:
    standing = [one for one in releases if one.withdrawal is None]
    if not standing:
        return None
    last, sha256 = standing[-1], standing[-1].sha256 or ""
    address = f"{verify}{sha256}" if verify and sha256 else ""
    return ReleaseLine(last.person.name, last.released_at.astimezone(zone), sha256, address)


def _withdrawn(release: Release, zone: tzinfo) -> str:
    released, withdrawal = short_time(release.released_at.astimezone(zone)), release.withdrawal
    assert withdrawal is not None, "only withdrawn releases are told so"  # noqa: S101
    at = short_time(withdrawal.at.astimezone(zone))
    return f"The release of {released} was withdrawn on {at}, because: {withdrawal.reason.rstrip('.')}."


def _nonconformity(one: Nonconformity, zone: tzinfo) -> NonconformityLine:
    told = [_decided(disposition, zone) for disposition in one.dispositions]
    if one.cause:
        told.append(f"Cause: {one.cause.rstrip('.')}.")
    if one.correction:
        told.append(f"Changed so that it does not come again: {one.correction.rstrip('.')}.")
    if one.closed_at is None:
        told.append("It is open.")
    else:
        how = CLOSED.get(one.closed_how or "", one.closed_how or "")
        told.append(f"Closed {short_time(one.closed_at.astimezone(zone))}: {how}.")
    check = one.what.partition(": ")[0] if one.characteristic else ""
    return NonconformityLine(one.number, one.what, tuple(told), one.closed_at is None, check)


def _decided(disposition: Disposition, zone: tzinfo) -> str:
    decided = DECIDED.get(disposition.kind, disposition.kind)
    at = short_time(disposition.at.astimezone(zone))
    agreed = f" Agreed for the customer by {disposition.agreed_by}." if disposition.agreed_by else ""
    return f"{decided}, {disposition.person.name}, {at}: {disposition.reason.rstrip('.')}.{agreed}"


def _concession(one: Nonconformity) -> str:
    agreed = next((d.agreed_by for d in reversed(one.dispositions) if d.agreed_by), "")
    by = f", agreed by {agreed}" if agreed else ""
    return f"Accepted as it is by concession (nonconformity {one.number}{by})."


def _lot(use: LotUse) -> str:
    if use.material_lot is not None:
        lot = use.material_lot
        supplier = f", {lot.supplier}" if lot.supplier else ""
        return f"{lot.mark}: {lot.material.replace('_', ' ')}{supplier}; {use.station.name}"
    assert use.lot is not None, "a use is of material or of members"  # noqa: S101
    return f"{use.lot.mark}: members; {use.station.name}"
