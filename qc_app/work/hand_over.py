"""Handing a building over: the packet that proves it."""

from datetime import datetime

from sqlalchemy.orm import Session

from qc_app.packet.content import packet_content
from qc_app.packet.document import building_pdf
from qc_app.records.building import Building
from qc_app.records.shop import Person
from qc_app.work.roles import Act, require


def building_packet(session: Session, person: Person, building: Building, now: datetime) -> bytes:
    """The handover packet of a building as a PDF, as its records stand."""
    require(person, Act.HAND_OVER)
    return building_pdf(packet_content(session, building, now))
