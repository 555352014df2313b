"""Handing a building over: the packet that proves it, and who has which."""

import hashlib
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.packet.content import packet_content
from qc_app.packet.document import building_pdf
from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.release import PacketCopy, Release, ReleaseWithdrawal
from qc_app.records.shop import Person
from qc_app.work import find
from qc_app.work.roles import Act, require


def take_packet(database: Database, person_id: int, building_id: int, now: datetime, verify: str) -> bytes:
    """The packet of a building for somebody, who is written down as having it, with the SHA-256 of the PDF.

    ``verify`` is the address at which anybody can ask about a release; its SHA-256 is put behind it.

    Raises
    ------
    NotAllowed, NotFound
        If the person may not, or there is no such building for them.
    """
    with database.read() as session:
        person = session.get_one(Person, person_id)
        content = building_packet(session, person, find.building(session, person, building_id), now, verify)
    # Written apart: setting the packet takes seconds, in which others could not write.
    with database.write() as session:
        person = session.get_one(Person, person_id)
        _write_down(session, person, find.building(session, person, building_id), content, now)
    return content


def building_packet(
    session: Session, person: Person, building: Building, now: datetime, verify: str = ""
) -> bytes:
    """The handover packet of a building as a PDF, as its records stand."""
    require(person, Act.HAND_OVER)
    return building_pdf(packet_content(session, building, now, verify))


def withdrawn_since(session: Session, person: Person) -> list[ReleaseWithdrawal]:
    """The withdrawals in buildings of which the person has a packet that is older, newest first."""
    newest = select(PacketCopy.id).where(
        PacketCopy.person_id == person.id,
        PacketCopy.building_id == Panel.building_id,
        PacketCopy.made_at > ReleaseWithdrawal.at,
    )
    held = select(PacketCopy.building_id).where(PacketCopy.person_id == person.id)
    query = (
        select(ReleaseWithdrawal)
        .join(Release, ReleaseWithdrawal.release_id == Release.id)
        .join(Panel, Release.panel_id == Panel.id)
        .where(Panel.building_id.in_(held), ~newest.exists())
        .order_by(ReleaseWithdrawal.id.desc())
    )
    return list(session.scalars(query))


def _write_down(session: Session, person: Person, building: Building, content: bytes, now: datetime) -> None:
    sha256 = hashlib.sha256(content).hexdigest()
    session.add(PacketCopy(building_id=building.id, person=person, made_at=now, sha256=sha256))
    append_event(session, building, "packet handed over", {"sha256": sha256}, at=now, person=person)
