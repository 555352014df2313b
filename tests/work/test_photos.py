"""Photos: what is taken in, how it is kept, and who sees it."""

import hashlib
from pathlib import Path

import pytest
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.photo import Photo
from qc_app.records.photo_store import Damaged, NoFolder, PhotoStore, name_of, photo_folder
from qc_app.records.reading import Reading
from qc_app.records.tablet import Tablet
from qc_app.work.find import NotFound
from qc_app.work.photos import LARGEST_PHOTO, PhotoRefused, keep_photo, photo, size_of
from tests.conftest import NOW, Cast
from tests.work.sent import Outbox, enrolled, reading, readings, reasons, states


def segment(marker: int, content: bytes) -> bytes:
    """One segment: marker, length of itself and content (ITU-T T.81, B.1.1.4)."""
    return bytes([0xFF, marker]) + (len(content) + 2).to_bytes(2) + content


def jpeg(width: int = 640, height: int = 480, more: bytes = b"") -> bytes:
    """The beginning of a JPEG of that size (ITU-T T.81, B.2.2); its picture is left out."""
    frame = b"\x08" + height.to_bytes(2) + width.to_bytes(2) + b"\x01\x01\x11\x00"
    application = segment(0xE0, b"JFIF\x00\x01\x02\x00\x00\x01\x00\x01\x00\x00")
    return b"\xff\xd8" + application + more + segment(0xC0, frame) + segment(0xDA, b"") + b"\xff\xd9"


@pytest.fixture
def store(tmp_path: Path) -> PhotoStore:
    return PhotoStore(tmp_path / "photos")


def files(folder: Path) -> list[Path]:
    return [file for file in folder.rglob("*") if file.is_file()]


def keep(
    database: Database, store: PhotoStore, tablet: int, person: int, content: bytes, name: str = ""
) -> str:
    with database.read() as session:
        visitor = session.get_one(Tablet, tablet)
        keep_photo(database, store, visitor, person, name or name_of(content), content, NOW)
    return name_of(content)


def test_a_photo_is_kept_by_its_content_and_read_again(store: PhotoStore, tmp_path: Path) -> None:
    name = store.write(b"what it shows")
    assert name == hashlib.sha256(b"what it shows").hexdigest()
    assert store.read(name) == b"what it shows"
    assert store.write(b"what it shows") == name
    assert files(tmp_path / "photos") == [tmp_path / "photos" / name[:2] / name[2:]]


def test_a_photo_changed_or_lost_in_the_folder_is_noticed(store: PhotoStore, tmp_path: Path) -> None:
    name = store.write(b"what it shows")
    place = tmp_path / "photos" / name[:2] / name[2:]
    place.write_bytes(b"what it does not show")
    with pytest.raises(Damaged, match="was damaged"):
        store.read(name)
    place.unlink()
    with pytest.raises(Damaged, match="is missing"):
        store.read(name)


def test_without_a_folder_no_photo_is_taken() -> None:
    with pytest.raises(NoFolder, match="QC_PHOTOS"):
        PhotoStore(None).write(b"x")


def test_photos_lie_beside_an_sqlite_file_or_where_it_is_said(
    database: Database, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("QC_PHOTOS", raising=False)
    is_file = database.engine.dialect.name == "sqlite"
    assert photo_folder(database.engine) == (tmp_path / "qc.db.photos" if is_file else None)
    monkeypatch.setenv("QC_PHOTOS", str(tmp_path / "elsewhere"))
    assert photo_folder(database.engine) == tmp_path / "elsewhere"


@pytest.mark.parametrize(("width", "height"), [(640, 480), (1, 1), (65_535, 300)])
def test_the_size_of_a_jpeg_is_read_from_its_frame(width: int, height: int) -> None:
    assert size_of(jpeg(width, height)) == (width, height)


def test_a_thumbnail_inside_and_fill_bytes_do_not_mislead() -> None:
    # Cameras put a small JPEG into an application segment; fill bytes may precede any marker (B.1.1.2).
    assert size_of(jpeg(800, 600, more=segment(0xE1, b"Exif\x00\x00" + jpeg(160, 120)))) == (800, 600)
    assert size_of(jpeg(800, 600, more=b"\xff\xff")) == (800, 600)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "must be a JPEG"),
        (b"\x89PNG\r\n\x1a\n" + b"\0" * 40, "must be a JPEG"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "must be a JPEG"),
        (jpeg()[:20], "damaged"),
        (jpeg()[:27], "damaged"),
        (jpeg(0, 480), "damaged"),
        (b"\xff\xd8\xff\xd9", "damaged"),
        (b"\xff\xd8\xff\xe0\x00\x00" + b"\xff\xe0\x00\x00" * 9, "damaged"),
    ],
)
def test_what_is_no_jpeg_is_refused(content: bytes, reason: str) -> None:
    with pytest.raises(PhotoRefused, match=reason):
        size_of(content)


def test_a_photo_sent_twice_is_kept_once_with_its_size(
    database: Database, cast: Cast, store: PhotoStore
) -> None:
    tablet, _ = enrolled(database, cast)
    for _ in range(2):
        name = keep(database, store, tablet, cast.worker, jpeg())
    with database.read() as session:
        kept = session.scalars(select(Photo)).one()
        assert (kept.sha256, kept.width, kept.height) == (name, 640, 480)
        assert (kept.size, kept.person_id, kept.media_type) == (len(jpeg()), cast.worker, "image/jpeg")


def test_a_photo_under_another_name_or_too_large_is_refused(
    sqlite_database: Database, shop: Cast, store: PhotoStore, tmp_path: Path
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    for name in ("0" * 64, "../" * 21 + "x", name_of(jpeg()).upper()):
        with pytest.raises(PhotoRefused, match="damaged on its way"):
            keep(sqlite_database, store, tablet, shop.worker, jpeg(), name)
    with pytest.raises(PhotoRefused, match="at most 2 MB"):
        keep(sqlite_database, store, tablet, shop.worker, jpeg() + b"\0" * LARGEST_PHOTO)
    assert files(tmp_path / "photos") == []


def test_a_photo_comes_before_its_person_has_signed_in_but_of_nobody_elsewhere(
    sqlite_database: Database, shop: Cast, store: PhotoStore
) -> None:
    tablet, _ = enrolled(sqlite_database, shop, who=())
    keep(sqlite_database, store, tablet, shop.lead, jpeg())
    for nobody in (shop.stranger, 10**17):
        with pytest.raises(NotFound, match="no such person in this plant"):
            keep(sqlite_database, store, tablet, nobody, jpeg(7, 7))


def test_a_photo_is_shown_in_its_own_plant_only(
    sqlite_database: Database, shop: Cast, store: PhotoStore
) -> None:
    tablet, _ = enrolled(sqlite_database, shop)
    name = keep(sqlite_database, store, tablet, shop.worker, jpeg())
    with sqlite_database.read() as session:
        assert photo(session, store, shop.person(session, "lead"), name) == jpeg()
        for who, asked in (("stranger", name), ("lead", "0" * 64), ("lead", "..")):
            with pytest.raises(NotFound):
                photo(session, store, shop.person(session, who), asked)


def test_a_reading_waits_until_its_photo_has_come(database: Database, cast: Cast, store: PhotoStore) -> None:
    tablet, _ = enrolled(database, cast)
    outbox = Outbox(cast)
    name = name_of(jpeg())
    entry = outbox.entry(readings(cast, reading(photos=[name])))
    early = outbox.send(database, tablet, entry)
    assert states(early) == ["later"]
    assert reasons(early) == "A photo that belongs to this reading has not come yet."
    keep(database, store, tablet, cast.worker, jpeg())
    assert states(outbox.send(database, tablet, entry)) == ["kept"]
    with database.read() as session:
        kept = session.scalars(select(Reading)).one()
        assert [p.sha256 for p in kept.photos] == [name]
        event = session.scalars(select(Event).where(Event.what == "reading recorded")).one()
        assert (event.facts["photos"], event.facts["tablet"]) == ([name], "Tablet 2")
