"""What somebody who took a packet has to know: releases in it that were withdrawn since."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.release import PacketCopy, Release, ReleaseWithdrawal
from qc_app.records.shop import Person


def withdrawn_since(session: Session, person: Person, building: Building) -> list[ReleaseWithdrawal]:
    """The withdrawals in a building since the person last took its packet, newest first; none without one."""
    last = session.scalar(
        select(func.max(PacketCopy.made_at)).where(
            PacketCopy.person_id == person.id, PacketCopy.building_id == building.id
        )
    )
    if last is None:
        return []
    query = (
        select(ReleaseWithdrawal)
        .join(Release, ReleaseWithdrawal.release_id == Release.id)
        .join(Panel, Release.panel_id == Panel.id)
        .where(Panel.building_id == building.id, ReleaseWithdrawal.at >= last)
        .order_by(ReleaseWithdrawal.id.desc())
    )
    return list(session.scalars(query))
