"""Chains of events: whoever changes one by hand is told on, with the place."""

from datetime import timedelta
from pathlib import Path
from uuid import UUID

import pytest
from sqlalchemy import delete, select, text, update
from sqlalchemy.exc import DBAPIError, InternalError
from sqlalchemy.orm import Session

from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.photo import Photo
from qc_app.records.photo_store import PhotoStore
from qc_app.refusal import Refusal
from qc_app.work.check_record import Head, check_record, read_anchor, write_anchor
from tests.conftest import NOW, Cast, stage
from tests.work.check_record.tampering import findings, result_of, tamper
from tests.work.conftest import Said


def event_about(session: Session, uuid: UUID) -> Event:
    events = session.scalars(select(Event).where(Event.what == "reading recorded").order_by(Event.id))
    return next(event for event in events if event.facts["reading"] == str(uuid))


def test_a_record_as_written_is_whole(database: Database, measured: UUID) -> None:
    result = result_of(database)
    assert result.findings == []
    with database.read() as session:
        assert result.events == len(session.scalars(select(Event.id)).all())
        heads = {(e.chain, e.number, e.hash) for e in session.scalars(select(Event))}
        assert {(chain, head.number, head.hash) for chain, head in result.heads.items()} <= heads


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"what": "panel scheduled"}, "what it says does not give its hash"),
        ({"facts": {"mark": "R-99"}}, "what it says does not give its hash"),
        ({"person_id": None}, "what it says does not give its hash"),
        ({"previous_hash": "1" * 64}, "it does not hold the hash of the event before it"),
        ({"number": 99}, "number 3 is missing before it"),
    ],
)
def test_a_changed_event_is_named_with_what_differs(
    database: Database, cast: Cast, measured: UUID, change: dict[str, object], told: str
) -> None:
    def by_hand(session: Session) -> None:
        event = event_about(session, measured)
        assert (event.chain, event.number) == (f"building {cast.building}", 3)
        session.execute(update(Event).where(Event.id == event.id).values(**change))

    found = [f for f in tamper(database, by_hand) if "hash" in f or "missing before" in f]
    at = 4 if "number" in change else change.get("number", 3)
    assert found[0].startswith(f"building H1, event {at} (02 Mar 2026 15:00:00 UTC, ")
    assert told in found[0]
    assert len(found) == 1


def test_an_event_taken_out_is_named_by_the_one_after_it(database: Database, measured: UUID) -> None:
    found = tamper(
        database,
        lambda s: s.execute(delete(Event).where(Event.what == "panel scheduled", Event.number == 2)),
    )
    assert found[0] == (
        "building H1, event 3 (02 Mar 2026 15:00:00 UTC, reading recorded): number 2 is missing before it."
    )


def test_two_events_swapped_are_named_at_the_first(database: Database, cast: Cast, measured: UUID) -> None:
    def swap(session: Session) -> None:
        of_building = Event.chain == f"building {cast.building}"
        for number, to in ((3, 1003), (4, 3), (1003, 4)):
            session.execute(update(Event).where(of_building, Event.number == number).values(number=to))

    found = tamper(database, swap)
    assert "event 3 " in found[0]
    assert "does not hold the hash of the event before it" in found[0]


def test_an_event_put_in_with_a_hash_of_its_own_breaks_the_next(
    database: Database, cast: Cast, measured: UUID
) -> None:
    def put_in(session: Session) -> None:
        of_building = Event.chain == f"building {cast.building}"
        late = session.scalars(select(Event).where(of_building).order_by(Event.number.desc())).all()
        for event in late[:-2]:
            session.execute(update(Event).where(Event.id == event.id).values(number=event.number + 1))
        before = late[-2]
        forged = Event(
            chain=before.chain, number=3, at=NOW, what="noted", facts={}, previous_hash=before.hash
        )
        forged.hash = forged.expected_hash()
        session.add(forged)

    found = tamper(database, put_in)
    assert found[0].startswith("building H1, event 4 ")
    assert "does not hold the hash" in found[0]


def test_an_event_nobody_can_read_is_named(sqlite_database: Database) -> None:
    cast = stage(sqlite_database)
    spoil = text("UPDATE event SET facts = 'sawdust' WHERE number = 2 AND chain = :chain")
    found = tamper(sqlite_database, lambda s: s.execute(spoil, {"chain": f"building {cast.building}"}))
    assert found[0].startswith("building H1: what follows event ")
    assert "cannot be read" in found[0]


def test_events_of_a_building_that_is_not_there_are_named(sqlite_database: Database) -> None:
    stage(sqlite_database)
    with sqlite_database.write() as session:
        forged = Event(chain="building 99", number=1, at=NOW, what="noted", facts={}, previous_hash="0" * 64)
        forged.hash = forged.expected_hash()
        session.add(forged)
    assert findings(sqlite_database) == ["chain “building 99”: there is no such building or plant."]


def test_a_photo_missing_or_changed_in_the_folder_is_named(sqlite_database: Database, tmp_path: Path) -> None:
    cast = stage(sqlite_database)
    store = PhotoStore(tmp_path / "photos")
    names = [store.write(content) for content in (b"whole", b"changed", b"gone")]
    with sqlite_database.write() as session:
        plant = cast.person(session, "worker").plant_id
        for name in names:
            session.add(
                Photo(
                    sha256=name,
                    plant_id=plant,
                    media_type="image/jpeg",
                    size=5,
                    width=1,
                    height=1,
                    person_id=cast.worker,
                    received_at=NOW,
                )
            )
    place = {name: tmp_path / "photos" / name[:2] / name[2:] for name in names}
    place[names[1]].write_bytes(b"other")
    place[names[2]].unlink()
    with sqlite_database.snapshot() as session:
        found = check_record(session, store, {}, lambda _chain, _events: None).findings
    assert len(found) == 2
    assert any(f.startswith(f"photo {names[1]}: This photo was damaged") for f in found)
    assert any(f.startswith(f"photo {names[2]}: This photo is missing") for f in found)


def test_a_tail_cut_off_shows_only_against_an_anchor(database: Database, measured: UUID) -> None:
    anchor = dict(result_of(database).heads)

    def cut(session: Session) -> None:
        last = session.scalars(select(Event).where(Event.what == "panel scheduled")).first()
        assert last is not None
        session.execute(delete(Event).where(Event.chain == last.chain, Event.number > 2))

    found = tamper(database, cut)
    assert found
    assert all(f.endswith("; no event tells of it.") for f in found if "R-01" in f)
    assert any(f"panel R-01: the table has the reading edge_length AB ({measured})" in f for f in found)
    assert any(
        "it ends at event 2; the anchor knows of event 5" in f for f in result_of(database, anchor).findings
    )


def test_a_chain_rewritten_from_its_beginning_shows_only_against_an_anchor(
    database: Database, cast: Cast, measured: UUID
) -> None:
    anchor = dict(result_of(database).heads)

    def rewrite(session: Session) -> None:
        of_building = select(Event).where(Event.chain == f"building {cast.building}").order_by(Event.number)
        previous = "0" * 64
        for event in session.scalars(of_building).all():
            event.previous_hash = previous
            event.at = event.at + timedelta(seconds=event.number == 1)
            event.hash = previous = event.expected_hash()

    assert [f for f in tamper(database, rewrite) if "hash" in f] == []
    found = result_of(database, anchor).findings
    (told,) = [f for f in found if f.endswith("the anchor holds another hash for it.")]
    assert told.startswith("building H1, event 5 ")


def test_a_chain_wholly_gone_shows_against_an_anchor(sqlite_database: Database) -> None:
    stage(sqlite_database)
    anchor = {**result_of(sqlite_database).heads, "building 77": Head(4, "a" * 64)}
    assert result_of(sqlite_database, anchor).findings == [
        "building 77: the anchor knows this chain; the database has no event of it."
    ]


def test_an_anchor_reads_back_as_written(tmp_path: Path) -> None:
    heads = {"building 3": Head(41, "ab" * 32), "plant 1": Head(7, "cd" * 32)}
    write_anchor(tmp_path / "heads.json", heads)
    assert read_anchor(tmp_path / "heads.json") == heads
    assert read_anchor(tmp_path / "none.json") == {}


@pytest.mark.parametrize("content", ["sawdust", "[]", '{"building 3": 4}', '{"building 3": {"number": "x"}}'])
def test_a_file_that_is_no_anchor_is_refused(tmp_path: Path, content: str) -> None:
    (tmp_path / "heads.json").write_text(content, "utf-8")
    with pytest.raises(Refusal, match="holds no hashes of chains"):
        read_anchor(tmp_path / "heads.json")


def test_a_snapshot_sees_one_moment_while_others_write(
    database: Database, cast: Cast, measured: UUID
) -> None:
    with database.snapshot() as still:
        before = len(still.scalars(select(Event.id)).all())
        with database.write() as session:
            Said(place="DC").record(session, cast)
        assert len(still.scalars(select(Event.id)).all()) == before
        assert check_record(still, PhotoStore(None), {}, lambda _c, _e: None).findings == []


def test_a_snapshot_on_postgresql_cannot_write(database: Database, cast: Cast) -> None:
    if database.engine.dialect.name == "sqlite":
        return  # there the one who looks simply never writes
    with database.snapshot() as session, pytest.raises((DBAPIError, InternalError), match="read-only"):
        session.execute(text("UPDATE plant SET name = 'Other'"))
