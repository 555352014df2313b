"""Releasing a panel (ISO 9001:2015, 8.6), taking that back, and what others are told."""

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from threading import Barrier, Thread

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from qc_app.measure.conformity import Verdict
from qc_app.records.building import Panel
from qc_app.records.canonical import canonical
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.photo_store import PhotoStore
from qc_app.records.reading import Reading
from qc_app.records.release import PacketCopy, Passage, Release
from qc_app.records.shop import Person
from qc_app.records.tablet import Notice
from qc_app.refusal import Refusal
from qc_app.work.check_record import check_record
from qc_app.work.find import NotFound
from qc_app.work.hold import lift_hold, place_hold
from qc_app.work.nonconformity import decide
from qc_app.work.notices import PACKET_OUTDATED, RELEASE_WITHDRAWN
from qc_app.work.release import NotProven, by_hash, find_release, passage, release, released, withdraw
from qc_app.work.roles import NotAllowed
from qc_app.work.snapshot import snapshot_of
from qc_app.work.state import state_of
from tests.conftest import NOW, Cast, stage
from tests.work.check_record.tampering import open_to_tampering
from tests.work.conftest import Said, check
from tests.work.newcomers import add_newcomers
from tests.work.proven import checks_of, prove

LATER = NOW + timedelta(hours=2)


def floor(session: Session, cast: Cast) -> Panel:
    return session.get_one(Panel, cast.floor_panel)


def let_go(session: Session, cast: Cast, who: str = "lead") -> Release:
    return release(session, cast.person(session, who), floor(session, cast), LATER)


def proven(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast, floor(session, cast))


def failing(minutes: int = 30) -> Said:
    """The last look, on which something is found wrong."""
    return check("label_check", "final", "no", at=NOW + timedelta(minutes=minutes), of="floor_panel")


def findings(database: Database) -> list[str]:
    with database.snapshot() as session:
        return check_record(session, PhotoStore(None), {}, lambda _c, _e: None).findings


def test_a_panel_of_which_all_is_proven_is_released_and_its_record_frozen(
    database: Database, cast: Cast
) -> None:
    proven(database, cast)
    with database.write() as session:
        let_go(session, cast)
    with database.read() as session:
        kept = session.scalars(select(Release)).one()
        assert kept.snapshot is not None
        assert kept.sha256 == hashlib.sha256(kept.snapshot.encode()).hexdigest()
        event = session.scalars(select(Event).where(Event.what == "panel released")).one()
        assert (event.panel_id, event.person_id) == (cast.floor_panel, cast.lead)
        assert event.facts == {"mark": "F-01", "sha256": kept.sha256}
        assert state_of(session, floor(session, cast), LATER).standing == "released"
    assert findings(database) == []


def test_the_frozen_record_says_everything_and_is_in_canonical_form(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        made = let_go(session, cast)
        panel, readings = floor(session, cast), session.scalars(select(Reading)).all()
        said = json.loads(made.snapshot or "")
        assert canonical(said).decode() == made.snapshot
        assert said["panel"]["mark"] == "F-01"
        assert (said["panel"]["length"], said["panel"]["width"]) == (panel.length, panel.width)
        document = panel.control_plan.document.encode()
        assert said["control_plan"]["sha256"] == hashlib.sha256(document).hexdigest()
        assert {r["uuid"] for r in said["readings"]} == {str(reading.uuid) for reading in readings}
        assert len(readings) == len(checks_of(panel))
        edge = next(r for r in said["readings"] if r["characteristic"] == "edge_length")
        assert (edge["amount"], edge["verdict"], edge["by"]) == (panel.length, "within", "Wren Abbey")
        assert edge["instruments"] == ["Tape 4"]
        assert edge["lower"] < edge["amount"] < edge["upper"]
        assert edge["standard_uncertainty"] > 0
        last = session.scalars(select(Event).where(Event.panel_id == panel.id).order_by(Event.number.desc()))
        before = last.all()[1]
        assert said["chain"] == {"number": before.number, "hash": before.hash}


def test_the_frozen_record_names_nonconformities_and_who_decided(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast, floor(session, cast))
        failing().record(session, cast, LATER)
        one = session.scalars(select(Nonconformity)).one()
        manager = cast.person(session, "manager")
        decide(session, manager, one, "accept", "Hidden by the deck.", one.version, LATER, "Ada Fern")
        said = snapshot_of(session, floor(session, cast), LATER)["nonconformities"]
        assert [(n["number"], n["closed_how"]) for n in said] == [(1, "accept")]
        (disposition,) = said[0]["dispositions"]
        assert (disposition["kind"], disposition["by"], disposition["agreed_by"]) == (
            "accept",
            "Mira Quill",
            "Ada Fern",
        )


def test_with_a_check_missing_it_is_refused_and_the_check_is_named(database: Database, cast: Cast) -> None:
    with database.write() as session:
        prove(session, cast, floor(session, cast), without="label_check")
    with database.write() as session:
        with pytest.raises(NotProven, match="F-01 cannot leave: ") as refusal:
            let_go(session, cast)
        assert len(refusal.value.missing) == 1
        assert "has no reading" in refusal.value.missing[0].words
        assert session.scalars(select(Release)).all() == []


def test_everything_that_is_missing_is_said_sentence_by_sentence(sqlite_database: Database) -> None:

    cast = stage(sqlite_database)
    with sqlite_database.write() as session:
        with pytest.raises(NotProven) as refusal:
            let_go(session, cast)
        assert len(refusal.value.missing) == len(checks_of(floor(session, cast)))


def test_an_open_nonconformity_keeps_it_until_it_is_accepted_with_who_agreed(
    database: Database, cast: Cast
) -> None:
    proven(database, cast)
    with database.write() as session:
        failing().record(session, cast, LATER)
        with pytest.raises(NotProven, match="Nonconformity 1"):
            let_go(session, cast)
        one = session.scalars(select(Nonconformity)).one()
        manager = cast.person(session, "manager")
        decide(session, manager, one, "accept", "Hidden by the deck.", one.version, LATER, "Ada Fern")
        let_go(session, cast)
    assert findings(database) == []


def test_a_hold_keeps_it_until_it_is_lifted(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        lead = cast.person(session, "lead")
        hold = place_hold(session, lead, floor(session, cast), "Wait for the engineer.", NOW)
        with pytest.raises(NotProven, match="Wait for the engineer"):
            let_go(session, cast)
        lift_hold(session, lead, hold, "The engineer agreed.", LATER)
        let_go(session, cast)
    assert findings(database) == []


def test_a_scrapped_panel_is_never_released(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        failing().record(session, cast, LATER)
        one = session.scalars(select(Nonconformity)).one()
        decide(session, cast.person(session, "manager"), one, "scrap", "Split sill.", one.version, LATER)
        with pytest.raises(NotProven, match="F-01 was scrapped"):
            let_go(session, cast)


def test_only_those_who_may_release_do_so_and_only_in_their_plant(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        with pytest.raises(NotAllowed, match="may not release panels"):
            let_go(session, cast, "worker")
        with pytest.raises(Refusal, match="another plant"):
            let_go(session, cast, "stranger")
        let_go(session, cast, "manager")
        with pytest.raises(Refusal, match="released already"):
            let_go(session, cast)


def withdrawn(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        made = let_go(session, cast)
        for who in ("lead", "manager", "manager"):
            of = {"building_id": cast.building, "made_at": LATER, "sha256": "0" * 64}
            session.add(PacketCopy(person_id=getattr(cast, who), **of))
        withdraw(session, cast.person(session, "lead"), made, "  Screws missing. ", LATER)


def test_a_withdrawal_has_a_reason_and_can_be_released_again(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        made = let_go(session, cast)
        lead = cast.person(session, "lead")
        with pytest.raises(Refusal, match="nothing was entered") as refusal:
            withdraw(session, lead, made, "   ", LATER)
        assert refusal.value.about == "reason"
        withdraw(session, lead, made, "Screws missing.", LATER)
        with pytest.raises(Refusal, match="withdrawn already"):
            withdraw(session, lead, made, "Again.", LATER)
        assert released(session, floor(session, cast)) is None
        assert state_of(session, floor(session, cast), LATER).standing == "free"
        again = release(session, lead, floor(session, cast), LATER + timedelta(hours=1))
        assert again.sha256 != made.sha256
        assert by_hash(session, made.sha256 or "") is made
    assert findings(database) == []


def test_a_withdrawal_tells_the_lead_and_names_everybody_who_has_a_packet(
    database: Database, cast: Cast
) -> None:
    withdrawn(database, cast)
    with database.read() as session:
        notices = session.scalars(select(Notice).order_by(Notice.id)).all()
        assert [notice.about for notice in notices] == [RELEASE_WITHDRAWN, PACKET_OUTDATED, PACKET_OUTDATED]
        assert [notice.facts.get("name") for notice in notices] == [None, "Mira Quill", "Otto Lind"]
        assert {notice.facts["reason"] for notice in notices} == {"Screws missing."}
        event = session.scalars(select(Event).where(Event.what == "release withdrawn")).one()
        assert event.facts["reason"] == "Screws missing."
    # The packets are put in without being made, which takes seconds, and so without an event.
    assert [finding for finding in findings(database) if "handover packet" not in finding] == []


def test_a_release_changed_by_hand_is_named_by_the_check(database: Database, cast: Cast) -> None:

    proven(database, cast)
    with database.write() as session:
        made = let_go(session, cast)
        sha256 = made.sha256
        open_to_tampering(session)
        prettier = (made.snapshot or "").replace("Wren Abbey", "Somebody E")
        session.execute(update(Release).values(snapshot=prettier))
    assert findings(database) == [
        f"building H1, panel F-01: the snapshot of its release does not give its hash {sha256}."
    ]


@pytest.mark.parametrize("what", ["loaded", "set"])
def test_only_a_released_panel_is_loaded_or_set_and_each_once(
    database: Database, cast: Cast, what: str
) -> None:
    proven(database, cast)
    with database.write() as session:
        lead, panel = cast.person(session, "lead"), floor(session, cast)
        with pytest.raises(Refusal, match="F-01 is not released"):
            passage(session, lead, panel, what, LATER)
        let_go(session, cast)
        passage(session, lead, panel, what, LATER, "Fits.")
        with pytest.raises(Refusal, match=f"{what} already"):
            passage(session, lead, panel, what, LATER)
        assert state_of(session, panel, LATER).standing == what
        with pytest.raises(NotAllowed):
            passage(session, cast.person(session, "worker"), panel, what, LATER)
    assert findings(database) == []


def test_a_released_panel_on_which_something_came_up_is_not_loaded(database: Database, cast: Cast) -> None:
    proven(database, cast)
    with database.write() as session:
        let_go(session, cast)
        failing(minutes=180).record(session, cast, NOW + timedelta(hours=4))
        panel = floor(session, cast)
        assert state_of(session, panel, LATER).is_flagged
        with pytest.raises(Refusal, match="F-01 is held: Nonconformity 1"):
            passage(session, cast.person(session, "lead"), panel, "loaded", LATER)


def test_a_panel_held_since_its_release_is_not_set_and_the_crew_is_told_whom_to_call(
    database: Database, cast: Cast
) -> None:
    proven(database, cast)
    with database.write() as session:
        let_go(session, cast)
        place_hold(session, cast.person(session, "lead"), floor(session, cast), "Pick torn.", LATER)
        with pytest.raises(
            Refusal, match=r"Do not raise it; call the shop lead\. On hold by Otto Lind: “Pick"
        ):
            passage(session, cast.person(session, "lead"), floor(session, cast), "set", LATER)
        assert session.scalars(select(Passage)).all() == []


def test_nobody_sets_a_panel_of_a_building_that_is_not_theirs(sqlite_database: Database, shop: Cast) -> None:
    new = add_newcomers(sqlite_database, shop)
    proven(sqlite_database, shop)
    with sqlite_database.write() as session:
        let_go(session, shop)
        with pytest.raises(NotFound):
            passage(session, session.get_one(Person, new.other_site_lead), floor(session, shop), "set", LATER)
        passage(session, session.get_one(Person, new.site_lead), floor(session, shop), "set", LATER)


def test_whoever_belongs_to_another_building_finds_no_release_of_this_one(
    sqlite_database: Database, shop: Cast
) -> None:
    new = add_newcomers(sqlite_database, shop)
    proven(sqlite_database, shop)
    with sqlite_database.write() as session:
        made, panel = let_go(session, shop), floor(session, shop)
        session.flush()
        for sees in (shop.worker, new.site_lead, new.customer):
            assert find_release(session, session.get_one(Person, sees), panel, made.id) is made
        for other in (new.other_site_lead, new.other_customer, shop.stranger):
            with pytest.raises(NotFound):
                find_release(session, session.get_one(Person, other), panel, made.id)
        with pytest.raises(NotFound):
            find_release(session, shop.person(session, "lead"), session.get_one(Panel, shop.panel), made.id)


def at_once(database: Database, *acts: Callable[[Session], object]) -> list[Exception]:
    """Runs acts in threads that start together, each in a transaction of its own; what they raised."""
    together, raised = Barrier(len(acts)), []

    def run(act: Callable[[Session], object]) -> None:
        together.wait()
        try:
            with database.write() as session:
                act(session)
        except Exception as error:
            raised.append(error)

    threads = [Thread(target=run, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return raised


def test_two_who_release_at_once_release_once(database: Database, cast: Cast) -> None:
    proven(database, cast)
    raised = at_once(
        database,
        lambda s: let_go(s, cast, "lead"),
        lambda s: let_go(s, cast, "manager"),
        lambda s: let_go(s, cast),
    )
    assert [str(error) for error in raised] == ["F-01 is released already."] * 2
    with database.read() as session:
        assert len(session.scalars(select(Release)).all()) == 1
    assert findings(database) == []


@pytest.mark.parametrize("_round", range(4))
def test_a_reading_that_arrives_while_it_is_released_blocks_it_or_flags_it(
    database: Database, cast: Cast, _round: int
) -> None:
    proven(database, cast)
    raised = at_once(database, lambda s: failing().record(s, cast, LATER), lambda s: let_go(s, cast))
    with database.read() as session:
        panel = floor(session, cast)
        state = state_of(session, panel, LATER)
        outside = session.scalars(select(Reading).where(Reading.verdict == Verdict.OUTSIDE.value)).one()
        made = released(session, panel)
        assert state.is_held
        if made is None:
            assert [type(error) for error in raised] == [NotProven]
        else:
            assert raised == []
            assert state.is_flagged
            assert str(outside.uuid) not in (made.snapshot or "")
    assert findings(database) == []


@pytest.mark.parametrize("reading_first", [True, False])
def test_whichever_came_first_the_log_says_so(sqlite_database: Database, reading_first: bool) -> None:

    cast = stage(sqlite_database)
    proven(sqlite_database, cast)
    with sqlite_database.write() as session:
        if reading_first:
            failing().record(session, cast, LATER)
            with pytest.raises(NotProven):
                let_go(session, cast)
        else:
            let_go(session, cast)
            failing().record(session, cast, LATER)
        assert state_of(session, floor(session, cast), LATER).is_flagged != reading_first
