"""Whether a panel is released, for all that ask without releasing anything."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.release import Release, ReleaseWithdrawal


def released(session: Session, panel: Panel) -> Release | None:
    """The newest release of a panel that was not withdrawn, if there is one."""
    return session.scalars(
        select(Release)
        .outerjoin(ReleaseWithdrawal, ReleaseWithdrawal.release_id == Release.id)
        .where(Release.panel_id == panel.id, ReleaseWithdrawal.id.is_(None))
        .order_by(Release.id.desc())
        .limit(1)
    ).first()


def releases_of(session: Session, panel: Panel) -> list[Release]:
    """All releases of a panel, withdrawn ones too, oldest first."""
    return list(session.scalars(select(Release).where(Release.panel_id == panel.id).order_by(Release.id)))
