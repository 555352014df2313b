"""One draft of the control plan in a plant: two editors, adopting it, and the days on which versions hold."""

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.plan.edit import with_change
from qc_app.records.control_plan import ControlPlan, PlanDraft
from qc_app.records.database import Database
from qc_app.records.event import Event
from qc_app.records.shop import Person, Station
from qc_app.refusal import Refusal
from qc_app.work.find import NotFound
from qc_app.work.people import enrol
from qc_app.work.plan_drafts import (
    HasProblems,
    SavedMeanwhile,
    adopt,
    begin,
    discard,
    draft_of,
    find_draft,
    problems,
    replaced_by,
    save,
)
from qc_app.work.plan_versions import Standing, take_up, versions
from qc_app.work.roles import NotAllowed, Role
from qc_app.work.setup import adopt_plan, default_document, plan_in_force
from tests.conftest import NOW, PASSWORD, Cast, panel_of
from tests.work.conftest import Said

TODAY = date(2026, 3, 2)  # NOW is 10:00 on that day in New York
HOUR, DAY = timedelta(hours=1), timedelta(days=1)
STRICTER = default_document().replace('plus_minus = "1/16 in"', 'plus_minus = "1/32 in"')
RENAMED = default_document().replace('name = "Services"', 'name = "Pipes and cables"')


def second_manager(session: Session, cast: Cast) -> Person:
    return enrol(
        session, cast.person(session, "manager").plant, "Ada Fir", "ada", Role.QUALITY_MANAGER, PASSWORD
    )


def save_as(database: Database, number: int, document: str, revision: int) -> None:
    """Saves the draft in a transaction of its own, as a page does."""
    with database.write() as session:
        person = session.get_one(Person, number)
        save(session, person, draft_of(session, person), document, revision, NOW + HOUR)


def adopted(
    session: Session, cast: Cast, document: str, day: date = TODAY, now: datetime = NOW
) -> ControlPlan:
    """A draft begun, saved and adopted."""
    manager = cast.person(session, "manager")
    draft = save(session, manager, begin(session, manager, now), document, 1, now)
    return adopt(session, manager, draft, draft.revision, "It proved itself.", day, now)


def test_a_draft_begins_as_the_version_in_force(database: Database, cast: Cast) -> None:
    with database.write() as session:
        draft = begin(session, cast.person(session, "manager"), NOW)
        assert (draft.document, draft.revision, draft.based_on.version) == (default_document(), 1, 1)
    with database.read() as session:
        assert draft_of(session, cast.person(session, "manager")).edited_by_id == cast.manager
        assert find_draft(session, cast.person(session, "stranger")) is None


def test_a_plant_has_one_draft(database: Database, cast: Cast) -> None:
    with database.write() as session:
        begin(session, cast.person(session, "manager"), NOW)
        with pytest.raises(Refusal, match="There is a draft already, based on version 1"):
            begin(session, second_manager(session, cast), NOW)
        assert begin(session, cast.person(session, "stranger"), NOW).plant_id == 2


def test_of_two_editors_the_second_is_refused_and_nothing_of_either_is_lost(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        begin(session, cast.person(session, "manager"), NOW)
        ada = second_manager(session, cast).id
    with database.read() as session:
        opened = draft_of(session, cast.person(session, "manager")).revision
    with database.write() as session:
        manager = cast.person(session, "manager")
        assert save(session, manager, draft_of(session, manager), STRICTER, opened, NOW).revision == 2
    with pytest.raises(SavedMeanwhile, match="Mira Quill has saved") as refused:
        save_as(database, ada, RENAMED, opened)
    assert (refused.value.document, refused.value.revision) == (STRICTER, 2)
    with database.write() as session:
        second = session.get_one(Person, ada)
        assert draft_of(session, second).document == STRICTER
        assert save(session, second, draft_of(session, second), RENAMED, 2, NOW + HOUR).revision == 3
        assert draft_of(session, second).edited_by_id == ada
    with database.write() as session:
        manager = cast.person(session, "manager")
        for act in (
            lambda draft: discard(session, manager, draft, 2, NOW),
            lambda draft: adopt(session, manager, draft, 2, "Because.", TODAY, NOW),
        ):
            with pytest.raises(SavedMeanwhile, match="Ada Fir has saved"):
                act(draft_of(session, manager))
        assert draft_of(session, manager).document == RENAMED


def test_a_draft_is_saved_with_its_problems_but_not_adopted(database: Database, cast: Cast) -> None:
    wrong = default_document().replace('upper = "18 %"', 'upper = "18 in"')
    with database.write() as session:
        manager = cast.person(session, "manager")
        draft = save(session, manager, begin(session, manager, NOW), wrong, 1, NOW)
        assert [p.field for p in problems(session, manager, draft.document)] == ["limits.upper"] * 2
        with pytest.raises(HasProblems, match="problems: 2") as refused:
            adopt(session, manager, draft, 2, "Because.", TODAY, NOW)
        assert {p.subject for p in refused.value.problems} == {
            "Moisture of member",
            "Wood moisture before closing",
        }
        assert plan_in_force(session, manager.plant, NOW).version == 1


@pytest.mark.parametrize(
    ("reason", "day", "document", "said"),
    [
        (" \n ", TODAY, STRICTER, "Say why"),
        ("Because.", TODAY - DAY, STRICTER, "today or on a later day"),
        ("Because.", TODAY, default_document(), "Nothing differs from version 1"),
    ],
)
def test_adopting_needs_a_reason_a_day_to_come_and_a_change(
    database: Database, cast: Cast, reason: str, day: date, document: str, said: str
) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        draft = save(session, manager, begin(session, manager, NOW), document, 1, NOW)
        with pytest.raises(Refusal, match=said):
            adopt(session, manager, draft, draft.revision, reason, day, NOW)
        assert draft_of(session, manager) is draft
        assert len(versions(session, manager, NOW)) == 1


@pytest.mark.parametrize("who", ["lead", "worker", "stranger"])
def test_only_the_plants_quality_manager_edits_its_plan(database: Database, cast: Cast, who: str) -> None:
    with database.write() as session:
        draft = begin(session, cast.person(session, "manager"), NOW)
        person = cast.person(session, who)
        refusal = NotFound if who == "stranger" else NotAllowed
        with pytest.raises(refusal):
            save(session, person, draft, STRICTER, 1, NOW)
        with pytest.raises(refusal):
            discard(session, person, draft, 1, NOW)
        with pytest.raises(refusal):
            adopt(session, person, draft, 1, "Because.", TODAY, NOW)
        with pytest.raises(refusal):
            draft_of(session, person)


def test_a_document_too_long_or_not_printable_is_refused(sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        draft = begin(session, manager, NOW)
        for document in ("#" * 100_001, "name = 'a\0b'"):
            with pytest.raises(Refusal, match="at most 100000 characters"):
                save(session, manager, draft, document, 1, NOW)


def test_adopted_today_it_holds_at_once_and_the_draft_is_gone(database: Database, cast: Cast) -> None:
    with database.write() as session:
        version = adopted(session, cast, STRICTER)
        manager = cast.person(session, "manager")
        assert (version.version, version.reason, version.document) == (2, "It proved itself.", STRICTER)
        assert plan_in_force(session, manager.plant, NOW).id == version.id
        assert session.scalars(select(PlanDraft)).all() == []
        events = session.scalars(select(Event).where(Event.chain == "plant 1").order_by(Event.number))
        told = [event.what for event in events]
        assert told[-4:-1] == ["plan draft begun", "plan draft saved", "control plan adopted"]
        assert told[-1] == "control plan followed"  # by the lot


def test_a_version_for_a_later_day_begins_with_that_day_at_the_plant(database: Database, cast: Cast) -> None:
    midnight = datetime(2026, 3, 9, 4, 0, tzinfo=UTC)  # in New York, where the clocks go forward on 8 March
    with database.write() as session:
        version = adopted(session, cast, RENAMED, date(2026, 3, 9))
        manager = cast.person(session, "manager")
        assert version.in_force_from == midnight
        assert plan_in_force(session, manager.plant, midnight - timedelta(seconds=1)).version == 1
        assert plan_in_force(session, manager.plant, midnight).version == 2
        services = select(Station).where(Station.plant_id == manager.plant_id, Station.key == "services")
        assert session.scalars(services).one().name == "Services"
        assert [v.standing for v in versions(session, manager, NOW)] == [Standing.WAITING, Standing.IN_FORCE]
        assert take_up(session, manager.plant, midnight) == 3
        assert session.scalars(services).one().name == "Pipes and cables"
        assert panel_of(session, cast).control_plan.version == 2
        assert take_up(session, manager.plant, midnight) == 0
        listed = versions(session, manager, midnight)
        assert [v.standing for v in listed] == [Standing.IN_FORCE, Standing.PAST]
        assert [v.until for v in listed] == [None, midnight]
        assert [v.by.name if v.by else None for v in listed] == ["Mira Quill", "Mira Quill"]


def test_of_two_versions_for_the_same_day_the_one_adopted_later_holds(database: Database, cast: Cast) -> None:
    day, then = TODAY + 7 * DAY, NOW + 8 * DAY
    with database.write() as session:
        adopted(session, cast, STRICTER, day)
        manager = cast.person(session, "manager")
        assert [v.version for v in replaced_by(session, manager, day, NOW)] == [2]
        assert replaced_by(session, manager, day + DAY, NOW) == []
        draft = begin(session, manager, NOW)
        assert draft.document == STRICTER  # what waits is not lost
        save(session, manager, draft, RENAMED, 1, NOW)
        adopt(session, manager, draft, 2, "And this.", day, NOW)
        assert plan_in_force(session, manager.plant, then).version == 3
        assert [v.standing for v in versions(session, manager, then)] == [
            Standing.IN_FORCE,
            Standing.NEVER,
            Standing.PAST,
        ]


def test_a_version_adopted_for_an_earlier_day_replaces_one_that_waits(database: Database, cast: Cast) -> None:
    with database.write() as session:
        adopted(session, cast, STRICTER, TODAY + 7 * DAY)
        manager = cast.person(session, "manager")
        assert [v.version for v in replaced_by(session, manager, TODAY, NOW)] == [2]
        adopted(session, cast, RENAMED, TODAY, NOW + HOUR)
        for after in (HOUR, 30 * DAY):
            assert plan_in_force(session, manager.plant, NOW + after).version == 3


def test_what_is_measured_in_another_way_needs_a_new_key(database: Database, cast: Cast) -> None:
    lean = default_document().replace('method = "difference_of_diagonals"', 'method = "lean_over_width"')
    with database.write() as session:
        manager = cast.person(session, "manager")
        (found,) = problems(session, manager, lean)
        assert (found.rule, found.field, found.subject) == (
            "measured otherwise",
            "method",
            "Difference of diagonals",
        )
        assert lean.splitlines()[(found.line or 0) - 1] == 'method = "lean_over_width"'
        assert "a new key instead of “squareness”" in str(found)
        assert problems(session, manager, lean.replace('key = "squareness"', 'key = "lean"')) == []
        # Also when the version in force no longer checks it, but an older one did.
        without = lean.replace('key = "squareness"', 'key = "lean"')
        adopt_plan(session, manager.plant, without, "Lean.", manager, NOW)
        assert [p.rule for p in problems(session, manager, lean)] == ["measured otherwise"]


def test_a_panel_that_has_not_started_follows_with_its_first_reading_even_if_nobody_took_it_up(
    database: Database, cast: Cast
) -> None:
    over = {"length": "24' 0 1/16\""}
    with database.write() as session:
        manager = cast.person(session, "manager")
        adopt_plan(session, manager.plant, STRICTER, "Stricter.", manager, NOW + HOUR)
        assert panel_of(session, cast).control_plan.version == 1
        assert (
            Said(entries=over, at=NOW + 2 * HOUR).record(session, cast, NOW + 2 * HOUR).verdict == "outside"
        )
        assert panel_of(session, cast).control_plan.version == 2
        (event,) = session.scalars(select(Event).where(Event.what == "control plan followed"))
        assert event.facts == {"mark": "R-01", "from": 1, "to": 2}


def test_a_first_reading_is_judged_by_the_version_of_when_it_was_measured(
    database: Database, cast: Cast
) -> None:
    with database.write() as session:
        manager = cast.person(session, "manager")
        adopt_plan(session, manager.plant, STRICTER, "Stricter.", manager, NOW + HOUR)
        late = Said(entries={"length": "24' 0 1/16\""}, at=NOW).record(session, cast, NOW + 2 * HOUR)
        assert late.verdict == "within"
        assert panel_of(session, cast).control_plan.version == 1


def test_a_panel_that_has_started_keeps_its_version(database: Database, cast: Cast) -> None:
    with database.write() as session:
        Said(place="DC").record(session, cast)
        assert adopted(session, cast, STRICTER).version == 2
        assert panel_of(session, cast).control_plan.version == 1
        assert Said(entries={"length": "24' 0 1/16\""}).record(session, cast).verdict == "within"


def test_a_panel_whose_kind_is_gone_stays_under_its_version(sqlite_database: Database, shop: Cast) -> None:
    document = default_document()
    for text in ('"closed_roof", ', '["closed_roof", "closed_wall"]'):
        document = document.replace(text, "" if text.endswith(" ") else '["closed_wall"]')
    start = document.index("[kind.closed_roof]")
    document = document[:start] + document[document.index("[kind.closed_wall]") :]
    with sqlite_database.write() as session:
        adopted(session, shop, document)
        assert panel_of(session, shop).control_plan.version == 1
        assert Said().record(session, shop).verdict == "within"


def test_a_change_by_form_is_adopted_like_any_other(sqlite_database: Database, shop: Cast) -> None:
    changed = with_change(default_document(), ("station", "framing", "hold_point"), False)
    with sqlite_database.write() as session:
        assert adopted(session, shop, changed).plan.station("framing").hold_point is False
