"""Nonconformities: what opens and closes them, and who decides (ISO 9001:2015, 8.7 and 10.2)."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from uuid import UUID

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.database import Database
from qc_app.records.event import Event, first_break
from qc_app.records.nonconformity import Nonconformity
from qc_app.records.photo import Photo
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.refusal import Refusal
from qc_app.work import nonconformity as work
from qc_app.work.find import NotFound
from qc_app.work.record import record
from qc_app.work.remake import remake, successor
from qc_app.work.roles import NotAllowed
from qc_app.work.schedule import add_panel
from tests.conftest import NOW, Cast, panel_of, roof_panel
from tests.work.conftest import Said, check, guard_edges, member
from tests.work.newcomers import add_newcomers

LATER = NOW + timedelta(hours=2)
OUTSIDE, WITHIN = {"length": "24' 1"}, {"length": "24'"}
UNCLEAR = {"length": "24' 0 1/16"}
"""Within 1/16 in, but not by as much as a tape cannot tell."""
PHOTO = "0a" * 32


def at(minutes: int) -> datetime:
    return NOW + timedelta(minutes=minutes)


def edge(entries: dict[str, str], minutes: int = 0) -> Said:
    return Said(entries=entries, at=at(minutes))


def moisture(percent: str, minutes: int = 0) -> Said:
    entries, meter = {"percent": percent}, ("moisture_meter",)
    return Said("wood_moisture", "sill", entries, at(minutes), station="services", instruments=meter)


def correct(session: Session, cast: Cast, wrong: Reading, entries: dict[str, str]) -> Reading:
    new = edge(entries).new(session, cast)
    corrected = replace(new, supersedes=wrong.uuid, reason="Misread.")
    return record(session, cast.person(session, "worker"), corrected, LATER)


def all_of(session: Session) -> list[Nonconformity]:
    return list(session.scalars(select(Nonconformity).order_by(Nonconformity.id)))


def only(session: Session) -> Nonconformity:
    return session.scalars(select(Nonconformity)).one()


def decided(
    session: Session, cast: Cast, one: Nonconformity, kind: str, who: str = "manager", minutes: int = 30
) -> None:
    agreed_by = "Ada Fern" if kind == "accept" else ""
    reason, person = "As agreed at the panel.", cast.person(session, who)
    work.decide(session, person, one, kind, reason, one.version, at(minutes), agreed_by)


@contextmanager
def refused(session: Session, said: str, about: str | None = None) -> Iterator[None]:
    """Sees that an act is refused and writes nothing."""
    session.flush()
    before = len(session.scalars(select(Event)).all())
    with pytest.raises(Refusal, match=said) as refusal:
        yield
    assert refusal.value.about == about
    assert len(session.scalars(select(Event)).all()) == before
    assert not session.dirty


def test_a_reading_outside_opens_a_nonconformity_that_says_what_is_wrong(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        reading = edge(OUTSIDE).record(session, cast).id
    with database.read() as session:
        one = only(session)
        assert (one.number, one.panel_id, one.reading_id, one.version) == (1, cast.panel, reading, 1)
        assert (one.characteristic, one.place, one.closed_at) == ("edge_length", "AB", None)
        assert one.what == 'Length of edge, AB: 24\' 1", +1" from target, outside its limits.'
        assert (one.opened_by_id, one.opened_at) == (cast.worker, NOW)
        event = session.scalars(select(Event).order_by(Event.id.desc())).first()
        assert event is not None
        assert (event.what, event.panel_id) == ("nonconformity opened", cast.panel)
        assert event.facts == {
            "number": 1,
            "mark": "R-01",
            "what": one.what,
            "characteristic": "edge_length",
            "place": "AB",
            "reading": str(session.get_one(Reading, reading).uuid),
        }


def test_a_failed_check_opens_one_too(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        check("framing_check", "framing", "no").record(session, shop)
        assert only(session).what == "Blocking and fixings as drawn: 1 fault, outside its limits."


def test_a_reading_within_and_one_of_a_lot_open_none(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(WITHIN).record(session, shop)
        member(1, 64).record(session, shop)
        assert all_of(session) == []


def test_outside_again_opens_no_second_one_for_the_same_check(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        edge({"length": "24' 2"}, 5).record(session, shop, LATER)
        replace(edge(OUTSIDE, 6), place="DC").record(session, shop, LATER)
        assert [(one.number, one.place) for one in all_of(session)] == [(1, "AB"), (2, "DC")]


def test_numbers_count_within_a_building(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        panel = panel_of(session, shop)
        other = add_panel(
            session, shop.person(session, "manager"), panel.building, roof_panel("R-09", 9), NOW
        )
        edge(OUTSIDE).record(session, shop)
        edge(OUTSIDE).record(session, replace(shop, panel=other.id))
        assert [one.number for one in all_of(session)] == [1, 2]
        assert work.by_number(session, panel.building, 2).panel is other
        with pytest.raises(NotFound, match="no nonconformity 3 in building H1"):
            work.by_number(session, panel.building, 3)


def test_measured_again_within_it_closes_as_put_right_at_the_station(database: Database, cast: Cast) -> None:
    with database.write() as session:
        edge(OUTSIDE).record(session, cast)
        closing = edge(WITHIN, 10).record(session, cast, LATER).id
    with database.read() as session:
        one = only(session)
        assert (one.closed_how, one.closed_at, one.closed_by_id) == ("rework", LATER, cast.worker)
        assert one.closing_reading_id == closing
        assert [r.verdict for r in work.readings_about(session, one)] == ["outside", "within"]


def test_where_the_lead_decides_only_a_reading_after_the_decision_closes_it(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        moisture("19").record(session, cast)
        moisture("17", 10).record(session, cast, LATER)
        one = only(session)
        assert one.closed_at is None
        decided(session, cast, one, "rework", "lead", 30)
        moisture("17", 29).record(session, cast, LATER)
        assert one.closed_at is None
        moisture("17", 30).record(session, cast, LATER)
        assert one.closed_how == "rework"


def test_outside_again_after_the_decision_stays_open(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        moisture("19").record(session, shop)
        one = only(session)
        decided(session, shop, one, "repair", "lead", 30)
        moisture("19.5", 40).record(session, shop, LATER)
        assert one.closed_at is None
        moisture("16", 50).record(session, shop, LATER)
        assert one.closed_how == "repair"


def test_a_reading_typed_wrong_closes_what_it_opened_when_the_correction_conforms(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        wrong = edge(OUTSIDE).record(session, cast)
        right = correct(session, cast, wrong, WITHIN)
        one = only(session)
        assert (one.closed_how, one.closing_reading_id) == ("correction", right.id)
        event = session.scalars(select(Event).order_by(Event.id.desc())).first()
        assert event is not None
        assert (event.what, event.facts["how"]) == ("nonconformity closed", "correction")


def test_a_correction_needs_no_lead_even_where_the_lead_decides(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        wrong = moisture("91").record(session, shop)
        new = replace(moisture("19").new(session, shop), supersedes=wrong.uuid, reason="Misread.")
        still = record(session, shop.person(session, "worker"), new, LATER)
        assert only(session).closed_at is None
        new = replace(moisture("17").new(session, shop), supersedes=still.uuid, reason="Misread again.")
        record(session, shop.person(session, "worker"), new, LATER)
        assert only(session).closed_how == "correction"


def test_a_correction_of_one_of_two_readings_outside_is_no_correction_of_both(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        again = edge({"length": "24' 2"}, 5).record(session, shop, LATER)
        correct(session, shop, again, WITHIN)
        assert only(session).closed_how == "rework"


def test_a_closing_reading_corrected_to_outside_opens_the_next_one_and_links_them(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        closing = edge(WITHIN, 5).record(session, shop, LATER)
        correct(session, shop, closing, OUTSIDE)
        first, second = all_of(session)
        assert (first.closed_how, second.closed_at) == ("rework", None)
        assert work.linked(session, first) == [second]
        assert work.linked(session, second) == [first]


def test_a_late_reading_outside_does_not_open_one_past_a_newer_reading_within(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        edge(WITHIN, 10).record(session, shop, LATER)
        edge(OUTSIDE, 5).record(session, shop, LATER)
        assert all_of(session) == []


def test_a_late_reading_within_does_not_close_what_a_newer_one_opened(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE, 10).record(session, shop, LATER)
        edge(WITHIN, 5).record(session, shop, LATER)
        assert only(session).closed_at is None


def test_an_unclear_reading_neither_opens_nor_closes(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        guard_edges(session, shop)
        edge(UNCLEAR).record(session, shop)
        assert all_of(session) == []
        edge(OUTSIDE, 5).record(session, shop, LATER)
        edge(UNCLEAR, 10).record(session, shop, LATER)
        assert only(session).closed_at is None


@pytest.mark.parametrize(
    ("who", "kind", "may"),
    [
        ("worker", "rework", False),
        ("worker", "scrap", False),
        ("lead", "rework", True),
        ("lead", "repair", True),
        ("lead", "accept", False),
        ("lead", "scrap", False),
        ("manager", "repair", True),
        ("manager", "accept", True),
        ("manager", "scrap", True),
    ],
)
def test_a_role_decides_what_it_may(
    sqlite_database: Database, shop: Cast, who: str, kind: str, may: bool
) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        one = only(session)
        if may:
            decided(session, shop, one, kind, who)
            disposition = one.dispositions[-1]
            assert (disposition.kind, disposition.person_id) == (kind, getattr(shop, who))
            assert (disposition.at, disposition.reason) == (at(30), "As agreed at the panel.")
        else:
            with pytest.raises(NotAllowed):
                decided(session, shop, one, kind, who)


def test_accepting_says_who_agreed_for_the_customer_and_closes(database: Database, cast: Cast) -> None:
    with database.write() as session:
        reading = edge(OUTSIDE).record(session, cast)
        one, manager = only(session), cast.person(session, "manager")
        with refused(session, "Say who agreed to it for the customer", "agreed_by"):
            work.decide(session, manager, one, "accept", "Gap is covered.", one.version, LATER, "  ")
        decided(session, cast, one, "accept")
        assert (one.closed_how, one.closing_reading_id) == ("accept", reading.id)
        assert one.dispositions[-1].agreed_by == "Ada Fern"


def test_what_was_accepted_is_proven_until_it_is_measured_outside_again(
    sqlite_database: Database, shop: Cast
) -> None:
    framing = replace(check("framing_check", "framing", "no"), of="floor_panel")
    with sqlite_database.write() as session:
        floor = session.get_one(Panel, shop.floor_panel)
        framing.record(session, shop)
        assert floor.waiting_at == "framing"
        decided(session, shop, only(session), "accept")
        assert floor.waiting_at == "sheathing_fence"
        replace(framing, at=at(40), uuid=UUID(int=7)).record(session, shop, LATER)
        assert floor.waiting_at == "framing"
        assert [one.closed_how for one in all_of(session)] == ["accept", None]


def test_scrapping_closes_all_that_is_open_and_makes_the_panel_again(database: Database, cast: Cast) -> None:
    with database.write() as session:
        edge(OUTSIDE).record(session, cast)
        replace(edge(OUTSIDE), place="DC").record(session, cast)
        first, second = all_of(session)
        decided(session, cast, second, "scrap")
        panel = panel_of(session, cast)
        assert (panel.scrapped_at, panel.waiting_at) == (at(30), None)
        assert {one.closed_how for one in (first, second)} == {"scrap"}
        assert first.dispositions[-1].reason == "Scrapped for nonconformity 2."
        again = successor(session, panel)
        assert again is not None
        assert (again.mark, again.predecessor_id, again.waiting_at) == ("R-01-2", panel.id, "framing")
        assert again.subject == replace(panel.subject, mark="R-01-2")
        chain = select(Event).where(Event.chain == f"building {cast.building}").order_by(Event.number)
        assert first_break(session.scalars(chain)) is None
        with refused(session, "made again already, as R-01-2"):
            remake(session, cast.person(session, "manager"), panel, LATER)


def test_a_panel_made_again_twice_counts_on(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager, panel = shop.person(session, "manager"), panel_of(session, shop)
        for expected in ("R-01-2", "R-01-3"):
            one = work.open_by_person(session, manager, panel, "Crushed by the fork.", "", (), NOW)
            decided(session, shop, one, "scrap")
            panel = session.scalars(select(Panel).where(Panel.predecessor_id == panel.id)).one()
            assert panel.mark == expected


def test_a_scrapped_panel_opens_no_more(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        decided(session, shop, only(session), "scrap")
        edge(OUTSIDE, 60).record(session, shop, LATER)
        assert len(all_of(session)) == 1
        with refused(session, "R-01 was scrapped already"):
            panel, worker = panel_of(session, shop), shop.person(session, "worker")
            work.open_by_person(session, worker, panel, "Dented.", "", (), LATER)


def test_of_two_who_decide_at_once_the_second_is_told_who_decided_what(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        moisture("19").record(session, cast)
    with database.read() as session:
        seen = only(session).version
    with database.write() as session:
        one, lead = only(session), cast.person(session, "lead")
        work.decide(session, lead, one, "rework", "Dry it over night.", seen, LATER)
    told = (
        r"Otto Lind has decided meanwhile: rework, because “Dry it over night.”. You chose: accept as it is. "
    )
    with database.write() as session:
        one, manager = only(session), cast.person(session, "manager")
        with refused(session, told):
            work.decide(session, manager, one, "accept", "Dry enough.", seen, LATER, "Ada Fern")
        with refused(session, told.replace("accept as it is", "Wet store")):
            work.explain(session, manager, one, "Wet store", "", seen, LATER)
        work.decide(session, manager, one, "accept", "Dry enough.", one.version, LATER, "Ada Fern")
        assert [d.kind for d in one.dispositions] == ["rework", "accept"]


def test_who_decides_past_a_reading_that_closed_it_is_told(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        one, lead = only(session), shop.person(session, "lead")
        seen = one.version
        edge(WITHIN, 5).record(session, shop, LATER)
        session.flush()
        with refused(session, "Nonconformity 1 was changed meanwhile. You chose: rework."):
            work.decide(session, lead, one, "rework", "Plane it.", seen, LATER)
        with refused(session, "Nonconformity 1 is closed already"):
            work.decide(session, lead, one, "rework", "Plane it.", one.version, LATER)


@pytest.mark.parametrize("reason", ["", "   ", "\n\t"])
def test_a_reason_of_spaces_is_refused(sqlite_database: Database, shop: Cast, reason: str) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        one, lead, panel = only(session), shop.person(session, "lead"), panel_of(session, shop)
        with refused(session, "Say why in a few words", "reason"):
            work.decide(session, lead, one, "rework", reason, one.version, LATER)
        with refused(session, "Say why in a few words", "what"):
            work.open_by_person(session, lead, panel, reason, "", (), LATER)
        with refused(session, "Say what caused it", "cause"):
            work.explain(session, lead, one, reason, reason, one.version, LATER)


def test_a_kind_that_there_is_not_is_refused(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        with refused(session, "Choose what is done: rework, repair, accept or scrap", "kind"):
            one = only(session)
            work.decide(session, shop.person(session, "lead"), one, "forget", "No.", one.version, LATER)


def test_people_of_another_plant_decide_nothing(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        one, stranger = only(session), shop.person(session, "stranger")
        with refused(session, "another plant"):
            work.decide(session, stranger, one, "rework", "Plane it.", one.version, LATER)
        with pytest.raises(NotFound):
            work.find_one(session, stranger, one.id)
        assert work.open_ones(session, stranger) == []
        assert work.find_one(session, shop.person(session, "worker"), one.id) is one
        with pytest.raises(NotFound):
            work.find_one(session, shop.person(session, "worker"), 10**20)


def test_a_person_opens_one_with_places_and_photos(database: Database, cast: Cast) -> None:
    with database.write() as session:
        worker, panel = cast.person(session, "worker"), panel_of(session, cast)
        session.add(
            Photo(
                sha256=PHOTO,
                plant_id=worker.plant_id,
                media_type="image/jpeg",
                size=9,
                width=1,
                height=1,
                person_id=worker.id,
                received_at=NOW,
            )
        )
        session.flush()
        one = work.open_by_person(
            session, worker, panel, " Sheathing torn. ", " 250 ,500;810,120", (PHOTO, PHOTO), NOW
        )
        assert (one.what, one.places, one.characteristic) == ("Sheathing torn.", "250,500; 810,120", "")
        assert [photo.sha256 for photo in one.photos] == [PHOTO]
        assert work.readings_about(session, one) == []
        assert work.of_panel(session, panel) == [one] == work.open_ones(session, worker)
        with refused(session, "A photo has not come", "photos"):
            work.open_by_person(session, worker, panel, "Torn.", "", ("0b" * 32,), NOW)
        with refused(session, "two numbers from 0 to 1000"):
            work.open_by_person(session, worker, panel, "Torn.", "1,2000", (), NOW)


def test_what_a_person_opened_is_confirmed_once_it_is_put_right(
    sqlite_database: Database, shop: Cast
) -> None:
    with sqlite_database.write() as session:
        worker, lead = shop.person(session, "worker"), shop.person(session, "lead")
        one = work.open_by_person(session, worker, panel_of(session, shop), "Sheathing torn.", "", (), NOW)
        with refused(session, "Decide first what is done"):
            work.confirm(session, lead, one, "Sound.", one.version, LATER)
        decided(session, shop, one, "repair", "lead")
        with pytest.raises(NotAllowed):
            work.confirm(session, worker, one, "Sound.", one.version, LATER)
        with refused(session, "Say why", "found"):
            work.confirm(session, lead, one, " ", one.version, LATER)
        work.confirm(session, lead, one, "Patched and taped, sound.", one.version, LATER)
        assert (one.closed_how, one.closing_reading_id) == ("repair", None)
        assert [d.kind for d in one.dispositions] == ["repair", "confirmed"]


def test_a_check_closes_by_measuring_and_not_by_a_word(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        moisture("19").record(session, shop)
        one = only(session)
        decided(session, shop, one, "rework", "lead")
        with refused(session, "closes when it is measured again"):
            work.confirm(session, shop.person(session, "lead"), one, "Dry.", one.version, LATER)


def test_cause_and_correction_are_written_down_after_it_closed_too(database: Database, cast: Cast) -> None:
    with database.write() as session:
        edge(OUTSIDE).record(session, cast)
        edge(WITHIN, 5).record(session, cast, LATER)
        one, lead = only(session), cast.person(session, "lead")
        session.flush()
        seen = one.version
        work.explain(session, lead, one, " Fence slipped. ", "Fence pinned.", seen, LATER)
        session.flush()
        assert (one.cause, one.correction, one.version) == ("Fence slipped.", "Fence pinned.", seen + 1)
        with pytest.raises(NotAllowed):
            work.explain(session, cast.person(session, "worker"), one, "?", "", one.version, LATER)


def test_two_are_linked_once_and_never_to_themselves(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        edge(OUTSIDE).record(session, shop)
        replace(edge(OUTSIDE), place="DC").record(session, shop)
        first, second = all_of(session)
        lead = shop.person(session, "lead")
        work.link(session, lead, second, first, LATER)
        before = len(session.scalars(select(Event)).all())
        work.link(session, lead, first, second, LATER)
        assert len(session.scalars(select(Event)).all()) == before
        assert work.linked(session, first) == [second]
        with refused(session, "not linked to itself", "other"):
            work.link(session, lead, first, first, LATER)


def test_whoever_belongs_to_another_building_finds_no_nonconformity_of_this_one(
    sqlite_database: Database, shop: Cast
) -> None:
    new = add_newcomers(sqlite_database, shop)
    with sqlite_database.write() as session:
        worker = shop.person(session, "worker")
        one = work.open_by_person(session, worker, panel_of(session, shop), "Torn.", "", (), NOW)
        for sees in (shop.worker, new.site_lead):
            assert work.find_one(session, session.get_one(Person, sees), one.id) is one
        for other in (new.other_site_lead, new.other_customer, shop.stranger):
            with pytest.raises(NotFound):
                work.find_one(session, session.get_one(Person, other), one.id)
