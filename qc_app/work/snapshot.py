"""Everything the record says about a panel at one moment, in a form whose hash can be checked for ever.

Lengths and other amounts are whole numbers of the quantity's grains (``plan.quantity``), times are in UTC
after ISO 8601, people and instruments are named.
"""

import hashlib
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session, selectinload

from qc_app.records.building import Panel
from qc_app.records.event import Event
from qc_app.records.material import LotUse
from qc_app.records.nonconformity import Disposition, Nonconformity
from qc_app.records.photo import Photo
from qc_app.records.reading import Reading
from qc_app.work.standing import standing

FORMAT = "panel record 1"

EXACT_UP_TO = 2**53
"""Whole numbers from here on are written as text (RFC 7493, section 2.2)."""


def snapshot_of(session: Session, panel: Panel, now: datetime) -> dict[str, Any]:
    """What the record says about a panel, and where the chain of its building ends."""
    building, version = panel.building, panel.control_plan
    document = hashlib.sha256(version.document.encode()).hexdigest()
    return {
        "format": FORMAT,
        "as_of": _time(now),
        "plant": building.plant.name,
        "building": {"code": building.code, "name": building.name},
        "panel": _identity(panel),
        "control_plan": {"name": version.plan.name, "version": version.version, "sha256": document},
        "readings": _readings(session, panel),
        "nonconformities": _nonconformities(session, panel),
        "lots": _lots(session, panel),
        "chain": _end_of_chain(session, panel),
    }


def _identity(panel: Panel) -> dict[str, Any]:
    return {
        "mark": panel.mark,
        "kind": panel.kind,
        "length": panel.length,
        "width": panel.width,
        "depth": panel.depth,
        "run": panel.run,
        "position": panel.position,
        "raising_sequence": panel.raising_sequence,
        "made_again_for": panel.predecessor.mark if panel.predecessor else None,
        "bays": [{"number": bay.number, "width": bay.width, "depth": bay.depth} for bay in panel.bays],
        "connectors": [connector.position for connector in panel.connectors],
        "penetrations": [
            {"mark": p.mark, "face": p.face, "size": p.size, "sleeve": p.sleeve, "at": [p.along, p.across]}
            for p in panel.penetrations
        ],
    }


def _readings(session: Session, panel: Panel) -> list[dict[str, Any]]:
    readings = session.scalars(
        select(Reading)
        .where(Reading.panel_id == panel.id)
        .order_by(Reading.measured_at, Reading.id)
        .options(
            selectinload(Reading.characteristic),
            selectinload(Reading.station),
            selectinload(Reading.person),
            selectinload(Reading.instruments),
            selectinload(Reading.photos),
        )
    ).all()
    uuids = {reading.id: str(reading.uuid) for reading in readings}
    stand = {reading.id for reading in standing(readings).values()}
    return [_reading(reading, uuids, reading.id in stand) for reading in readings]


def _reading(reading: Reading, uuids: dict[int, str], stands: bool) -> dict[str, Any]:
    return {
        "uuid": str(reading.uuid),
        "characteristic": reading.characteristic.key,
        "place": reading.place,
        "station": reading.station.key,
        "entries": reading.entries,
        "quantity": reading.quantity.value,
        "amount": _whole(reading.amount),
        "target": _whole(reading.target),
        "lower": _whole(reading.lower),
        "upper": _whole(reading.upper),
        "standard_uncertainty": _whole(reading.standard_uncertainty),
        "verdict": reading.verdict,
        "stands": stands,
        "by": reading.person.name,
        "measured_at": _time(reading.measured_at),
        "received_at": _time(reading.received_at),
        "instruments": sorted(instrument.name for instrument in reading.instruments),
        "note": reading.note,
        "corrects": uuids[reading.supersedes_id] if reading.supersedes_id else None,
        "reason": reading.reason,
        "photos": _hashes(reading.photos),
    }


def _nonconformities(session: Session, panel: Panel) -> list[dict[str, Any]]:
    found = session.scalars(
        select(Nonconformity).where(Nonconformity.panel_id == panel.id).order_by(Nonconformity.number)
    )
    return [
        {
            "number": one.number,
            "characteristic": one.characteristic,
            "place": one.place,
            "what": one.what,
            "places": one.places,
            "opened_at": _time(one.opened_at),
            "opened_by": one.opened_by.name,
            "closed_at": _time(one.closed_at),
            "closed_how": one.closed_how,
            "closed_by": one.closed_by.name if one.closed_by else None,
            "cause": one.cause,
            "correction": one.correction,
            "dispositions": [_disposition(disposition) for disposition in one.dispositions],
            "photos": _hashes(one.photos),
        }
        for one in found
    ]


def _disposition(disposition: Disposition) -> dict[str, Any]:
    return {
        "kind": disposition.kind,
        "by": disposition.person.name,
        "at": _time(disposition.at),
        "reason": disposition.reason,
        "agreed_by": disposition.agreed_by,
    }


def _lots(session: Session, panel: Panel) -> list[dict[str, Any]]:
    uses = session.scalars(select(LotUse).where(LotUse.panel_id == panel.id).order_by(LotUse.id))
    return [
        {
            "uuid": str(use.uuid),
            "mark": use.material_lot.mark if use.material_lot else use.lot.mark if use.lot else "",
            "material": use.material_lot.material if use.material_lot else use.lot.kind if use.lot else "",
            "supplier": use.material_lot.supplier if use.material_lot else "",
            "station": use.station.key,
            "by": use.person.name,
            "at": _time(use.at),
        }
        for use in uses
    ]


def _end_of_chain(session: Session, panel: Panel) -> dict[str, Any] | None:
    chain = f"building {panel.building_id}"
    last = session.scalars(
        select(Event).where(Event.chain == chain).order_by(Event.number.desc()).limit(1)
    ).first()
    return {"number": last.number, "hash": last.hash} if last else None


def _hashes(photos: Iterable[Photo]) -> list[str]:
    return sorted(photo.sha256 for photo in photos)


def _time(moment: datetime | None) -> str | None:
    return moment.astimezone(UTC).isoformat() if moment else None


def _whole(amount: int | None) -> int | str | None:
    return amount if amount is None or abs(amount) < EXACT_UP_TO else str(amount)
