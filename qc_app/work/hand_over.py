"""Handing a building over: the packet that proves it, and who has which."""

import hashlib
from datetime import datetime

from sqlalchemy.orm import Session

from qc_app.packet.content import packet_content
from qc_app.packet.document import building_pdf
from qc_app.records.building import Building
from qc_app.records.database import Database
from qc_app.records.event import append_event
from qc_app.records.release import PacketCopy
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


def _write_down(session: Session, person: Person, building: Building, content: bytes, now: datetime) -> None:
    sha256 = hashlib.sha256(content).hexdigest()
    session.add(PacketCopy(building_id=building.id, person=person, made_at=now, sha256=sha256))
    append_event(session, building, "packet handed over", {"sha256": sha256}, at=now, person=person)
