"""Whether what can be worked out from something else is still so: hashes of contents, points of charts."""

import hashlib
from collections.abc import Iterator

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.chart import Point, Stream
from qc_app.records.photo import Photo
from qc_app.records.photo_store import Damaged, NoFolder, PhotoStore
from qc_app.records.reading import Reading
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
    with session.execute(query, execution_options={"yield_per": ROWS_AT_ONCE}) as rows:
        for code, mark, sha256, snapshot in rows:
            given = None if snapshot is None else hashlib.sha256(snapshot.encode()).hexdigest()
            if given != sha256:
                yield (
                    f"building {code}, panel {mark}: the snapshot of its release does not give its hash "
                    f"{sha256}."
                )


def points_that_differ(session: Session) -> Iterator[str]:
    """Points of control charts that are not where their readings are."""
    deviation = Reading.amount - func.coalesce(Reading.target, 0)
    query = (
        select(Stream.name, Reading.uuid, Point.deviation, deviation)
        .join(Stream, Point.stream_id == Stream.id)
        .join(Reading, Point.reading_id == Reading.id)
        .where(or_(Point.deviation != deviation, Point.measured_at != Reading.measured_at))
        .order_by(Point.id)
    )
    for name, uuid, has, says in session.execute(query).all():
        yield (
            f"chart {name}: the reading {uuid} is {says} from its target; the table says that its point is "
            f"{has} from it, or was measured at another time."
        )


def photos_that_differ(session: Session, store: PhotoStore) -> Iterator[str]:
    """Photos that are missing in the folder, or do not give their hash or their size."""
    query = select(Photo.sha256, Photo.size).order_by(Photo.received_at, Photo.sha256)
    for name, size in session.execute(query).all():
        try:
            given = len(store.read(name))
        except NoFolder as refusal:
            yield f"photos: {refusal}"
            return
        except (Damaged, OSError) as error:
            yield f"photo {name}: {error}"
        else:
            if given != size:
                yield f"photo {name}: it has {given} bytes; the table says {size}."
