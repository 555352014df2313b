"""The control plan through the pages: versions, the draft's forms and text, two editors, and adopting."""

import io
import re
from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy import select

from qc_app.plan.edit import value_at
from qc_app.records.building import Panel
from qc_app.records.control_plan import ControlPlan, PlanDraft
from qc_app.records.database import Database
from qc_app.records.shop import Station
from qc_app.web.request import now
from qc_app.work.plan_drafts import begin, draft_of, save
from qc_app.work.setup import adopt_plan, default_document
from tests.conftest import NOW, Cast
from tests.web.conftest import Browser, SignedIn
from tests.work.conftest import Said

EDGE = next(
    number
    for number, table in enumerate(value_at(default_document(), ("characteristic",)))
    if table["key"] == "edge_length"
)
FILL = next(
    number
    for number, table in enumerate(value_at(default_document(), ("characteristic",)))
    if table["key"] == "bay_fill"
)


@pytest.fixture
def manager(signed_in: SignedIn) -> Browser:
    return signed_in("manager")


@pytest.fixture
def editing(manager: Browser) -> Browser:
    """The quality manager, with a draft begun."""
    manager.post("/plan/draft/begin", page="/plan")
    return manager


def document(database: Database) -> str:
    with database.read() as session:
        return session.scalars(select(PlanDraft.document)).one()


def fields(page: str) -> dict[str, object]:
    """What a browser would send from the form of a page if nothing were typed."""
    form = page[page.index('<form method="post" novalidate>') :]
    form = form[: form.index("</form>")]
    sent: dict[str, object] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = (re.search(rf'{key}="([^"]*)"', tag) for key in ("name", "value"))
        if name and ('type="checkbox"' not in tag or "checked" in tag):
            typed = unescaped(value[1] if value else "")
            several = name[1] == "instruments"
            sent[name[1]] = [*sent.get(name[1], []), typed] if several else typed  # type: ignore[misc]
    for name, text in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>\r?\n?(.*?)</textarea>', form, re.S):
        sent[name] = unescaped(text)
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.S):
        chosen = re.search(r'<option selected value="([^"]*)"', options)
        sent[name] = chosen[1] if chosen else ""
    return sent


def unescaped(text: str) -> str:
    import html

    return html.unescape(text)


def save_by_another(database: Database, shop: Cast, text: str) -> None:
    """Somebody else saves the draft meanwhile."""
    with database.write() as session:
        manager = shop.person(session, "manager")
        draft = draft_of(session, manager)
        save(session, manager, draft, text, draft.revision, now())


def change(browser: Browser, path: str, status: int = 302, **typed: Any) -> str:
    """Opens a form, types something into it and saves."""
    return browser.post(path, fields(browser.get(path)) | typed, status=status)


def test_a_worker_reads_the_plan_in_words_and_edits_nothing(signed_in: SignedIn) -> None:
    worker = signed_in("worker")
    page = worker.get("/plan")
    assert "Version 1" in page
    assert "Begin a new version" not in page
    worker.get("/plan/draft", 403)
    words = worker.get("/plan/version/1")
    for said in (
        "± 1/16&#34;",
        "up to 7 1/4&#34; deep: 3.50 lb/ft³ to 4.50 lb/ft³, target 3.80 lb/ft³",
        "at most 18.0 %",
        "1 bay, named by the log",
        "length of the panel",
        "Hold point: a panel waits here",
        "The plan a new shop starts with.",
        "Mira Quill",
    ):
        assert said in words, said


def test_the_document_of_a_version_comes_as_a_file(manager: Browser) -> None:
    answer = manager.client.get("/plan/version/1/control-plan.toml")
    assert answer.get_data(as_text=True) == default_document()
    assert 'filename="control-plan-1.toml"' in answer.headers["Content-Disposition"]


def test_another_plants_version_is_not_there(signed_in: SignedIn) -> None:
    assert "no such version" in signed_in("manager").get("/plan/version/2", 404)


def test_a_form_saved_as_it_was_opened_changes_nothing(editing: Browser, sqlite_database: Database) -> None:
    tables = value_at(default_document(), ("characteristic",))
    for number in range(len(tables)):
        change(editing, f"/plan/draft/characteristic/{number}")
    for key in ("framing", "sheathing_fence", "fill"):
        change(editing, f"/plan/draft/station/{key}")
    assert document(sqlite_database) == default_document()


def test_a_limit_typed_into_the_form_changes_that_line_and_keeps_the_comments(
    editing: Browser, sqlite_database: Database
) -> None:
    assert change(editing, f"/plan/draft/characteristic/{EDGE}", plus_minus="1/8 in").endswith(
        f"#check-{EDGE}"
    )
    before, after = default_document().splitlines(), document(sqlite_database).splitlines()
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        ('limits = { plus_minus = "1/16 in" }', 'limits = { plus_minus = "1/8 in" }')
    ]
    page = editing.get("/plan/draft")
    assert "<td>± 1/16&#34;</td><td>± 1/8&#34;</td>" in page


def test_everything_on_the_form_is_written(editing: Browser, sqlite_database: Database) -> None:
    change(
        editing,
        f"/plan/draft/characteristic/{EDGE}",
        name="Long edge",
        how="Twice.",
        plus_minus="",
        plus="1/8 in",
        minus="1/16 in",
        every="3",
        decision_rule="guarded_acceptance",
        instruments=["tape", "scale"],
        put_right="lead",
        signal_holds="y",
        overdue_instrument="refuse",
    )
    table = value_at(document(sqlite_database), ("characteristic", EDGE))
    assert table["limits"] == {"plus": "1/8 in", "minus": "1/16 in"}
    assert (table["name"], table["how"], table["every"]) == ("Long edge", "Twice.", 3)
    assert (table["decision_rule"], table["put_right"]) == ("guarded_acceptance", "lead")
    assert (table["instruments"], table["signal_holds"]) == (["tape", "scale"], True)
    assert table["overdue_instrument"] == "refuse"


def test_crossed_limits_are_named_at_their_field_and_not_saved(
    editing: Browser, sqlite_database: Database
) -> None:
    page = change(
        editing,
        f"/plan/draft/characteristic/{EDGE}",
        400,
        target="24 ft",
        plus_minus="",
        lower="25 ft",
        upper="23 ft",
    )
    at = page.index('id="lower-error"')
    assert "The lower limit of Length of edge is above its upper limit." in page[at : at + 200]
    assert 'aria-invalid="true"' in page[page.index('id="lower"') - 200 : page.index('id="lower"') + 200]
    assert 'value="25 ft"' in page
    assert "<title>Error:" in page
    assert document(sqlite_database) == default_document()


def test_bands_are_edited_row_by_row_and_their_faults_named_there(
    editing: Browser, sqlite_database: Database
) -> None:
    path = f"/plan/draft/characteristic/{FILL}"
    assert "Fill of bay" in editing.get(path)
    page = change(editing, path, 400, band_1_depth_up_to="7 in", band_0_upper="lots")
    assert "so that they overlap" in page[page.index('id="band_1_depth_up_to-error"') :][:200]
    assert "A density needs a number" in page[page.index('id="band_0_upper-error"') :][:200]
    row: dict[str, Any] = {
        "band_2_depth_up_to": "20 in",
        "band_2_target": "4.1 lb/ft³",
        "band_2_lower": "3.5 lb/ft³",
        "band_2_upper": "4.5 lb/ft³",
    }
    change(editing, path, **row)
    bands = value_at(document(sqlite_database), ("characteristic", FILL, "limits", "bands"))
    assert [band["depth_up_to"] for band in bands] == ["7 1/4 in", "16 in", "20 in"]


def test_a_station_is_edited_by_form(editing: Browser, sqlite_database: Database) -> None:
    path = "/plan/draft/station/services"
    page = fields(editing.get(path)) | {"name": "Pipes", "cautions": "Dead first.\n\n Then work. "}
    del page["hold_point"]
    editing.post(path, page)
    assert value_at(document(sqlite_database), ("station", "services")) == {
        "name": "Pipes",
        "hold_point": False,
        "cautions": ["Dead first.", "Then work."],
    }


def test_of_two_editors_the_second_sees_both_and_saves_knowingly(
    editing: Browser, shop: Cast, sqlite_database: Database
) -> None:
    opened = fields(editing.get("/plan/draft/text"))
    theirs = default_document().replace('name = "Default plan"', 'name = "Theirs"')
    save_by_another(sqlite_database, shop, theirs)
    mine = opened | {"document": default_document().replace('name = "Default plan"', 'name = "Mine"')}
    page = editing.post("/plan/draft/text", mine, status=409)
    assert "Mira Quill has saved this draft since you opened it." in page
    assert "name = &#34;Mine&#34;" in page
    assert "name = &#34;Theirs&#34;" in page
    assert document(sqlite_database) == theirs
    editing.post("/plan/draft/text", fields(page))
    assert 'name = "Mine"' in document(sqlite_database)


def test_a_form_that_meets_another_save_keeps_what_was_typed_and_shows_what_is_saved(
    editing: Browser, shop: Cast, sqlite_database: Database
) -> None:
    path = f"/plan/draft/characteristic/{EDGE}"
    opened = fields(editing.get(path))
    theirs = default_document().replace(
        '[[characteristic]]\nkey = "member_length"',
        '[[characteristic]]\nkey = "first"\nname = "First"\nstation = "framing"\nkinds = ["deck"]\n'
        'method = "check"\nlimits = { upper = "0" }\n\n[[characteristic]]\nkey = "member_length"',
    ).replace('places = ["AB", "DC"]\ntarget = "length"\nlimits = { plus_minus = "1/16 in" }',
              'places = ["AB", "DC"]\ntarget = "length"\nlimits = { plus_minus = "3/16 in" }')  # fmt: skip
    save_by_another(sqlite_database, shop, theirs)
    page = editing.post(path, opened | {"plus_minus": "1/8 in"}, status=409)
    assert 'value="1/8 in"' in page
    assert "3/16 in" in page
    assert document(sqlite_database) == theirs
    editing.post(path, fields(page))
    saved = value_at(document(sqlite_database), ("characteristic", EDGE + 1))
    assert (saved["key"], saved["limits"]) == ("edge_length", {"plus_minus": "1/8 in"})


def test_all_problems_of_the_text_are_listed_with_their_lines(
    editing: Browser, sqlite_database: Database
) -> None:
    wrong = default_document().replace('upper = "18 %"', 'upper = "18 in"').replace('"scale"', '"eye"', 1)
    change(editing, "/plan/draft/text", document=wrong)
    assert document(sqlite_database) == wrong
    page = editing.get("/plan/draft/text")
    assert "3 problems" in page
    line = wrong.splitlines().index('limits = { upper = "18 in" }') + 1
    assert f">Line {line}</a>" in page
    assert f'id="line-{line}"' in page
    assert "Look it over and adopt it" not in editing.get("/plan/draft")
    broken = change(editing, "/plan/draft/text", document="rules = [\nname = 3")
    assert broken
    assert ">Line 2</a>" in editing.get("/plan/draft")
    assert "cannot be shown as a form" in editing.get(f"/plan/draft/characteristic/{EDGE}", 400)


def test_what_is_typed_as_markup_stays_text(editing: Browser) -> None:
    change(editing, f"/plan/draft/characteristic/{EDGE}", name="<script>alert(1)</script>")
    for path in ("/plan/draft", "/plan/draft/text", "/plan/draft/adopt"):
        assert "<script>alert" not in editing.get(path)


def test_a_file_is_taken_into_the_draft_and_given_back(editing: Browser, sqlite_database: Database) -> None:
    text = default_document().replace("Default plan", "Plan from a file")
    data = fields_of_upload(editing) | {"file": (io.BytesIO(text.encode("utf-8-sig")), "plan.toml")}
    assert editing.post("/plan/draft/upload", data, page="/plan/draft") == "/plan/draft/text"
    assert document(sqlite_database) == text
    assert editing.client.get("/plan/draft/control-plan.toml").get_data(as_text=True) == text
    data = fields_of_upload(editing) | {"file": (io.BytesIO(b"\xff\xfe\x00"), "plan.toml")}
    assert "no text in UTF-8" in editing.post("/plan/draft/upload", data, page="/plan/draft", status=400)


def fields_of_upload(browser: Browser) -> dict[str, object]:
    page = browser.get("/plan/draft")
    revision = re.search(r'name="revision"[^>]*value="(\d+)"', page)
    assert revision is not None
    return {"revision": revision[1]}


def test_a_draft_is_discarded_unless_somebody_saved_meanwhile(
    editing: Browser, shop: Cast, sqlite_database: Database
) -> None:
    stale = fields_of_upload(editing)
    save_by_another(sqlite_database, shop, "name = 3")
    assert "has saved this draft" in editing.post(
        "/plan/draft/discard", stale, page="/plan/draft", status=400
    )
    editing.post("/plan/draft/discard", fields_of_upload(editing), page="/plan/draft")
    with sqlite_database.read() as session:
        assert session.scalars(select(PlanDraft)).all() == []


def test_before_adopting_the_page_shows_what_differs_and_what_would_have_been(
    editing: Browser, shop: Cast, sqlite_database: Database
) -> None:
    with sqlite_database.write() as session:
        said = Said(entries={"length": "24' 0 1/16\""}, at=now() - timedelta(days=2))
        said.record(session, shop, now())
    change(editing, f"/plan/draft/characteristic/{EDGE}", plus_minus="1/32 in")
    page = editing.get("/plan/draft/adopt")
    assert "<td>± 1/16&#34;</td><td>± 1/32&#34;</td>" in page
    assert "1 would have another verdict." in page
    assert "H1/R-01" in page[page.index("Would have been held, and were not") :]
    longer = editing.get("/plan/draft/preview?since=2020-01-01&until=2020-01-31")
    assert "0 readings" in longer
    assert "A day is written like" in editing.get("/plan/draft/preview?since=yesterday", 400)
    assert "ends before it begins" in editing.get(
        "/plan/draft/preview?since=2020-02-01&until=2020-01-01", 400
    )


def test_adopting_makes_the_next_version(editing: Browser, sqlite_database: Database) -> None:
    change(editing, f"/plan/draft/characteristic/{EDGE}", plus_minus="1/32 in")
    page = change(editing, "/plan/draft/adopt", 400, reason="  ")
    assert "Say why" in page[page.index('id="reason-error"') :][:200]
    page = change(editing, "/plan/draft/adopt", 400, reason="Better.", in_force_from="2020-01-01")
    assert "today or on a later day" in page[page.index('id="in_force_from-error"') :][:200]
    page = change(editing, "/plan/draft/adopt", 400, reason="Better.", in_force_from="soon")
    assert "A day is written like" in page
    shown = editing.get(change(editing, "/plan/draft/adopt", reason="The fence is better."))
    assert "Control plan, version 2" in shown
    assert "What differs from version 1 (1)" in shown
    assert "The fence is better." in editing.get("/plan")
    with sqlite_database.read() as session:
        assert session.scalars(select(ControlPlan.version).where(ControlPlan.plant_id == 1)).all() == [1, 2]


def test_a_version_that_waits_is_named_where_it_would_never_come_into_force(editing: Browser) -> None:
    change(editing, "/plan/draft/station/services", name="Pipes")
    day = (now() + timedelta(days=9)).date().isoformat()
    change(editing, "/plan/draft/adopt", reason="Names.", in_force_from=day)
    assert "waits for its day" in editing.get("/plan")
    editing.post("/plan/draft/begin", page="/plan")
    change(editing, "/plan/draft/station/services", name="Cables")
    assert "Version 2 waits for that day or a later one" in editing.get("/plan/draft/adopt")


def test_the_first_request_of_the_day_takes_up_a_version_that_waited(
    manager: Browser, shop: Cast, sqlite_database: Database
) -> None:
    renamed = default_document().replace('name = "Services"', 'name = "Pipes"')
    with sqlite_database.write() as session:
        person = shop.person(session, "manager")
        adopt_plan(session, person.plant, renamed, "Names.", person, NOW, NOW + timedelta(days=1))
        assert session.scalars(select(Station.name).where(Station.key == "services")).first() == "Services"
    assert "Pipes" in manager.get("/station")
    with sqlite_database.read() as session:
        assert session.get_one(Panel, shop.panel).control_plan.version == 2


def test_a_panel_that_has_started_is_moved_with_what_it_changes_shown_first(
    manager: Browser, shop: Cast, sqlite_database: Database
) -> None:
    stricter = default_document().replace('plus_minus = "1/16 in"', 'plus_minus = "1/32 in"')
    with sqlite_database.write() as session:
        Said(entries={"length": "24' 0 1/16\""}).record(session, shop)
        person = shop.person(session, "manager")
        adopt_plan(session, person.plant, stricter, "Stricter.", person, NOW + timedelta(hours=1))
    path = f"/panel/{shop.panel}/plan"
    assert path in manager.get(f"/panel/{shop.panel}")
    page = manager.get(path)
    assert "1 check has to be made again" in page
    assert "Move R-01 to version 2" in page
    manager.post(path, {"version": "", "reason": " "}, status=400)
    manager.post(path, {"version": "", "reason": "New fence."})
    with sqlite_database.read() as session:
        assert session.get_one(Panel, shop.panel).control_plan.version == 2
    assert "no newer version" in manager.get(path)


def test_a_draft_begun_twice_is_refused(editing: Browser, sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session, pytest.raises(Exception, match="There is a draft already"):
        begin(session, shop.person(session, "manager"), now())
