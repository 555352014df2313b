"""Whether what is named by its hash still gives that hash: snapshots of releases, and photos."""

import hashlib
from collections.abc import Iterator

from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.photo import Photo
from qc_app.records.photo_store import Damaged, NoFolder, PhotoStore
from qc_app.records.release import Release

ROWS_AT_ONCE = 100


def snapshots_that_differ(session: Session) -> Iterator[str]:
    """Releases whose snapshot does not give its hash. Releases from before there were snapshots pass."""
    query = (
        select(Building.code, Panel.mark, Release.sha256, Release.snapshot)
        .join(Panel, Release.panel_id == Panel.id)
        .join(Building, Panel.building_id == Building.id)
        .order_by(Release.id)
    )
    for code, mark, sha256, snapshot in session.execute(query, execution_options={"yield_per": ROWS_AT_ONCE}):
        given = None if snapshot is None else hashlib.sha256(snapshot.encode()).hexdigest()
        if given != sha256:
            yield f"building {code}: the snapshot of the release of {mark} does not give its hash {sha256}."


def photos_that_differ(session: Session, store: PhotoStore) -> Iterator[str]:
    """Photos that are missing in the folder, or do not give their hash."""
    for name in session.scalars(select(Photo.sha256).order_by(Photo.received_at, Photo.sha256)):
        try:
            store.read(name)
        except NoFolder as refusal:
            yield f"photos: {refusal}"
            return
        except (Damaged, OSError) as error:
            yield f"photo {name}: {error}"
