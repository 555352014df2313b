"""Bad days at a station, with the real server and a real browser: whatever fails, nothing typed is lost."""

import random
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from playwright.sync_api import expect
from sqlalchemy import select
from sqlalchemy.orm import Session

from qc_app.records.building import Panel
from qc_app.records.chart import Stream
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.tablet import Notice, OutboxEntry, Tablet
from qc_app.spc.patterns import find
from qc_app.work import tablets
from qc_app.work.notices import CLOCK
from qc_app.work.release import release
from qc_app.work.setup import adopt_plan, default_document
from qc_app.work.streams import phase_of, points, signals
from tests.browser.conftest import PATIENCE, NewVisit, Visit, notices_just_raised
from tests.browser.demo_server import DemoServer
from tests.browser.more_panels import add_panels, person
from tests.browser.test_entry import LEANING, SQUARE, enter, field, result
from tests.browser.test_offline import (
    IS_BUILD,
    LET_GO,
    TOUCH,
    Served,
    end_sign_ins,
    expect_newer,
    look_for_newer,
    open_and_keep,
    until,
)

pytestmark = pytest.mark.browser

HOLD = 10_000
DAY = timedelta(days=1)

MODULE = """
const module = (name) =>
  import(document.querySelector("link[rel=stylesheet]").href.replace(/log\\.css.*$/, name));
"""


@pytest.fixture
def server(database: Database, few_kept: None) -> Iterator[DemoServer]:
    opened = DemoServer(database)
    opened.start()
    yield opened
    opened.stop()


@pytest.fixture
def address(server: DemoServer) -> str:
    return server.address


@pytest.fixture
def tablet(visit: NewVisit, database: Database) -> Visit:
    """An enrolled tablet where Wren signed in, at a closed roof panel of 24 by 8 ft in the fence."""
    tablet = visit()
    tablet.enrol(database)
    tablet.sign_in_by_pin("Wren Abbey")
    tablet.page.locator(".waiting a", has_text="R-11").click()
    tablet.page.wait_for_url("**/panel/*")
    tablet.ready()
    # What the page sends by itself on opening is over.
    tablet.send()
    return tablet


def cut_off(visit: Visit) -> None:
    visit.page.context.set_offline(True)


def connect(visit: Visit) -> None:
    visit.page.context.set_offline(False)


def typed(visit: Visit, values: dict[str, str]) -> None:
    """Types into the fields without saving."""
    visit.choose_instruments()
    for label, text in values.items():
        field(visit.page, label).fill(text)


def measure(visit: Visit) -> None:
    """Enters six readings that fit and are within, and sees them saved on the tablet."""
    enter(visit, SQUARE)
    expect(result(visit.page).locator("visible=true")).to_contain_text("All 5 readings within")


def states(visit: Visit) -> list[str]:
    return [entry["state"] for entry in visit.entries()]


def expect_line(visit: Visit, words: str) -> None:
    """Expects words in the line that says how the outbox stands."""
    expect(visit.page.locator(".outbox-bar")).to_contain_text(words)


def stored(database: Database) -> list[OutboxEntry]:
    with database.read() as session:
        return list(session.scalars(select(OutboxEntry).order_by(OutboxEntry.sequence)))


def newest_readings(database: Database, count: int) -> list[Reading]:
    with database.read() as session:
        return list(session.scalars(select(Reading).order_by(Reading.id.desc()).limit(count)))


def readings_of(database: Database, visit: Visit) -> list[Reading]:
    """What the server holds of the entries of one tablet."""
    uuids = [UUID(reading["uuid"]) for entry in visit.entries() for reading in entry["content"]["readings"]]
    with database.read() as session:
        return list(session.scalars(select(Reading).where(Reading.uuid.in_(uuids)).order_by(Reading.id)))


def expect_stored_once(database: Database, visit: Visit, entries: int = 1) -> None:
    """Each entry of the only tablet is on the server, once, with its five readings."""
    assert states(visit) == ["kept"] * entries
    assert [str(entry.uuid) for entry in stored(database)] == [entry["uuid"] for entry in visit.entries()]
    assert len(readings_of(database, visit)) == 5 * entries


# The network and the server


def test_a_network_cut_in_the_middle_of_saving_costs_nothing(tablet: Visit, database: Database) -> None:
    typed(tablet, SQUARE)
    cut_off(tablet)
    field(tablet.page, "Diagonal BD").press("Enter")
    expect(result(tablet.page)).to_contain_text("All 5 readings within")
    expect_line(tablet, "Saved on this tablet")
    tablet.send()
    assert (states(tablet), stored(database)) == (["waiting"], [])
    connect(tablet)
    tablet.send()
    expect_stored_once(database, tablet)


def test_a_page_left_while_it_sends_is_followed_by_one_that_sends_again_and_one_row_is_kept(
    tablet: Visit, server: DemoServer, database: Database
) -> None:
    measure(tablet)
    server.seconds_to_think, before = 1, server.posts
    tablet.page.evaluate(MODULE + "module('tablet/outbox.js').then((outbox) => { outbox.sendNow(); })")
    wait_until(tablet, lambda: server.posts > before)
    tablet.page.reload()
    tablet.ready()
    tablet.send()
    assert server.posts >= before + 2
    expect_stored_once(database, tablet)


def test_a_server_killed_while_answering_gets_the_entry_again_and_keeps_one_row(
    tablet: Visit, server: DemoServer, database: Database
) -> None:
    measure(tablet)
    server.is_losing_answers, before = True, server.posts
    tablet.send()
    server.stop()
    [first] = stored(database)
    assert states(tablet) == ["waiting"]
    expect_line(tablet, "1 waiting")
    server.is_losing_answers = False
    server.start()
    tablet.send()
    assert server.posts >= before + 2
    expect_stored_once(database, tablet)
    assert stored(database)[0].received_at == first.received_at


def test_a_tablet_goes_on_by_itself_when_the_server_is_back_on_its_port(
    tablet: Visit, server: DemoServer, database: Database
) -> None:
    tablet.page.clock.install()
    server.stop()
    measure(tablet)
    tablet.page.clock.fast_forward(HOLD)
    expect_line(tablet, "1 waiting")
    server.start()
    for _ in range(20):
        tablet.page.clock.fast_forward(HOLD)
        tablet.page.wait_for_timeout(100)
    expect_line(tablet, "All on the server")
    expect_stored_once(database, tablet)


def wait_until(visit: Visit, question: Callable[[], bool]) -> None:
    """Waits, with the browser going on, for something that the server knows."""
    for _ in range(PATIENCE // 50):
        if question():
            return
        visit.page.wait_for_timeout(50)
    raise AssertionError("it did not come about")


# A day of three tablets


def test_two_hundred_entries_of_three_tablets_arrive_once_in_whatever_order_they_come(
    visit: NewVisit, database: Database
) -> None:
    chance = random.Random(4)  # noqa: S311 - nothing here is secret
    contents = edges(add_panels(database, 50), chance)
    morning = datetime.now(UTC) - DAY
    three = [visit() for _ in range(3)]
    for number, tablet in enumerate(three):
        tablet.enrol(database, f"Fence {number + 1}")
        tablet.sign_in_by_pin("Wren Abbey")
        tablet.send()
        tablet.page.evaluate(WAIT_TO_SEND)
        cut_off(tablet)
        write_through_the_day(tablet, contents[number::3], morning + timedelta(minutes=number))
        connect(tablet)
    for tablet, numbers in shuffled_batches(three, chance):
        tablet.page.clock.set_fixed_time(datetime.now(UTC))
        tablet.page.evaluate(MODULE + POST_NUMBERS, numbers)
    assert len(stored(database)) == 200
    # The tablets took no answer to these, so each sends all of it once more.
    for tablet in three:
        tablet.page.clock.set_fixed_time(datetime.now(UTC))
        tablet.page.evaluate("endWait()")
        tablet.send()
        assert set(states(tablet)) == {"kept"}
    expect_all_once(database, three, 200)
    with database.read() as session:
        assert [n for n in notices_just_raised(session) if n.closed_at is None] == []
        signalled = [signals_are_as_worked_out(session, stream) for stream in fence_streams(session)]
        assert sum(signalled) > 0


def edges(panels: list[int], chance: random.Random) -> list[dict[str, Any]]:
    """Contents of entries, one for each edge of each panel; some edges are too long for their chart."""
    lengths = {
        "AB": ("edge_length", 120),
        "DC": ("edge_length", 120),
        "DA": ("end_length", 96),
        "CB": ("end_length", 96),
    }
    return [
        {
            "station": "sheathing_fence",
            "item": "panel",
            "id": panel,
            "plan": 1,
            "readings": [
                {
                    "characteristic": characteristic,
                    "place": place,
                    "entries": {"length": f"{inches + chance.choice((-1, 0, 0, 1, 4)) / 32}"},
                    "supersedes": None,
                    "photos": [],
                    "verdict": None,
                }
            ],
            "instruments": [1],
            "note": "",
            "reason": "",
            "doubted": False,
        }
        for panel in panels
        for place, (characteristic, inches) in lengths.items()
    ]


WRITE_ALL = """
async (contents) => {
  const [outbox, people] = await Promise.all([module("tablet/outbox.js"), module("tablet/people.js")]);
  const { id } = await people.who();
  for (const content of contents) {
    content.readings[0].uuid = crypto.randomUUID();
    const about = { form: "readings", person: id, title: "Edge", address: location.pathname };
    await outbox.writeEntry({ ...about, content });
  }
}
"""

# Pages of one tablet send one after another, by this lock.
WAIT_TO_SEND = """
() => new Promise((isHeld) => {
  navigator.locks.request("qc outbox", () => {
    isHeld();
    return new Promise((resolve) => { window.endWait = resolve; });
  });
})
"""

POST_NUMBERS = """
async (numbers) => {
  const [outbox, entry, exchange, store] = await Promise.all(
    ["outbox", "entry", "exchange", "store"].map((name) => module(`tablet/${name}.js`)));
  const all = await outbox.entries();
  const entries = numbers.map((number) => entry.asSent(all.find(({ sequence }) => sequence === number)));
  const { csrf } = await exchange.greet();
  const outboxId = await store.fact("outbox");
  const about = { outbox: outboxId, schema: 1, written: all.length, clock: entry.iso(new Date()) };
  return exchange.tellServer("/outbox", csrf, { ...about, entries });
}
"""


def write_through_the_day(tablet: Visit, contents: list[dict[str, Any]], morning: datetime) -> None:
    """Writes entries by the page's own script, some each hour."""
    for hour in range(8):
        tablet.page.clock.set_fixed_time(morning + timedelta(hours=hour))
        tablet.page.evaluate(MODULE + WRITE_ALL, contents[hour::8])


def shuffled_batches(three: list[Visit], chance: random.Random) -> list[tuple[Visit, list[int]]]:
    """All entries of three tablets in small batches, in an order that no tablet would choose."""
    batches = []
    for tablet in three:
        numbers = [entry["sequence"] for entry in tablet.entries()]
        chance.shuffle(numbers)
        batches += [(tablet, numbers[at : at + 13]) for at in range(0, len(numbers), 13)]
    chance.shuffle(batches)
    return batches


def expect_all_once(database: Database, several: list[Visit], count: int) -> None:
    written = [entry for tablet in several for entry in tablet.entries()]
    rows = stored(database)
    assert len(written) == len(rows) == count
    assert {str(row.uuid) for row in rows} == {entry["uuid"] for entry in written}
    assert all(row.kept for row in rows)
    at = {entry["content"]["readings"][0]["uuid"]: entry["entered_at"] for entry in written}
    kept = [reading for tablet in several for reading in readings_of(database, tablet)]
    assert {str(reading.uuid): reading.measured_at for reading in kept} == {
        uuid: datetime.fromisoformat(entered) for uuid, entered in at.items()
    }


def fence_streams(session: Session) -> list[Stream]:
    keys = ("edge_length", "end_length")
    return list(session.scalars(select(Stream).where(Stream.characteristic.in_(keys))))


def signals_are_as_worked_out(session: Session, stream: Stream) -> int:
    """Compares the signals stored with those all points make; gives how many are of the last day."""
    listed, wanted = points(session, stream), set()
    for phase in stream.phases:
        held = [point for point in listed if phase_of(stream.phases, point) is phase]
        found = find([p.deviation for p in held], phase.centre, phase.sigma, phase.rules) if held else {}
        wanted |= {(held[at].id, rule) for rule, indexes in found.items() for at in indexes}
    told = signals(session, stream)
    assert {(signal.point_id, signal.rule) for signal in told} == wanted
    return sum(signal.point.measured_at > datetime.now(UTC) - 2 * DAY for signal in told)


# Shut out


def test_entries_outlive_a_sign_in_that_ended_and_go_after_the_next(
    visit: NewVisit, database: Database
) -> None:
    worker = visit()
    worker.sign_in("wren")
    worker.open_panel("sheathing_fence", "Closed roof panel")
    measure(worker)
    end_sign_ins(database)
    worker.send()
    assert (states(worker), stored(database)) == (["waiting"], [])
    expect_line(worker, "Sign in to send 1 entry")
    worker.page.locator(".outbox-state").click()
    worker.page.wait_for_url("**/sign-in**")
    worker.page.get_by_label("Sign-in name").fill("wren")
    worker.page.get_by_label("Password").fill("plumb level square")
    worker.page.get_by_role("button", name="Sign in").click()
    worker.page.wait_for_url("**/outbox**")
    expect(worker.page.locator("[data-section=kept] li")).to_contain_text("On the server")
    expect_stored_once(database, worker)


def revoke(database: Database) -> int:
    with database.write() as session:
        tablet = session.scalars(select(Tablet)).one()
        tablets.revoke(session, person(session, "mira"), tablet, datetime.now(UTC))
        return tablet.id


def test_a_revoked_tablet_keeps_its_entries_says_so_and_sends_them_when_enrolled_again(
    tablet: Visit, database: Database
) -> None:
    measure(tablet)
    number = revoke(database)
    tablet.send()
    assert (states(tablet), stored(database)) == (["waiting"], [])
    expect_line(tablet, "This tablet is not enrolled any more. Ask the shop lead.")
    # Work goes on meanwhile.
    tablet.page.get_by_role("button", name="Measure again").click()
    measure(tablet)
    with database.write() as session:
        again = session.get_one(Tablet, number)
        code = tablets.invite_again(session, person(session, "mira"), again, datetime.now(UTC))
    tablet.use_code(code)
    tablet.send()
    expect_line(tablet, "All on the server")
    expect_stored_once(database, tablet, 2)
    assert {entry.tablet_id for entry in stored(database)} == {number}


def test_the_entries_of_a_revoked_tablet_are_handed_in_as_a_file_by_the_lead(
    tablet: Visit, visit: NewVisit, database: Database, tmp_path: Path
) -> None:
    open_and_keep(tablet, "/outbox?language=en")
    tablet.open_panel("sheathing_fence", "Closed roof panel")
    measure(tablet)
    number = revoke(database)
    tablet.send()
    cut_off(tablet)
    tablet.page.goto(tablet.address + "/outbox?language=en")
    tablet.ready()
    with tablet.page.expect_download() as download:
        tablet.page.get_by_role("button", name="Save to a file").click()
    download.value.save_as(tmp_path / "outbox.json")
    lead = visit()
    lead.sign_in("otto")
    lead.page.goto(lead.address + "/outbox/file")
    lead.page.get_by_label("File").set_input_files(tmp_path / "outbox.json")
    lead.page.locator("main form button[type=submit]").click()
    expect(lead.page.locator("main")).to_contain_text("Within: ")
    [entry] = stored(database)
    with database.read() as session:
        assert (entry.tablet_id, entry.person_id) == (number, person(session, "wren").id)
    assert [str(entry.uuid)] == [written["uuid"] for written in tablet.entries()]
    assert len(readings_of(database, tablet)) == 5


# Meanwhile in the office


def test_a_reading_that_comes_after_the_release_is_kept_and_both_sides_are_told(
    tablet: Visit, visit: NewVisit, database: Database
) -> None:
    with database.read() as session:
        panel = session.scalars(select(Panel).where(Panel.mark == "R-01", Panel.waiting_at.is_(None))).first()
        assert panel is not None
    tablet.page.goto(f"{tablet.address}/station/sheathing_fence/panel/{panel.id}?language=en#step-1")
    tablet.ready()
    cut_off(tablet)
    measure(tablet)
    with database.write() as session:
        release(session, person(session, "otto"), session.get_one(Panel, panel.id), datetime.now(UTC))
    connect(tablet)
    tablet.send()
    expect_stored_once(database, tablet)
    tablet.page.goto(tablet.address + "/outbox?language=en")
    expect(tablet.page.locator("[data-section=kept] li")).to_contain_text("R-01 was released at ")
    expect(tablet.page.locator("[data-section=kept] li")).to_contain_text("the shop lead has been told")
    lead = visit()
    lead.sign_in("otto")
    lead.page.goto(lead.address + "/notices")
    expect(lead.page.locator("main")).to_contain_text(
        "Readings of R-01 in building H1 came after its release"
    )


def test_a_panel_keeps_the_plan_it_was_scheduled_under_when_another_comes_into_force(
    tablet: Visit, database: Database
) -> None:
    cut_off(tablet)
    measure(tablet)
    stricter = default_document().replace(
        'limits = { plus_minus = "1/16 in" }', 'limits = { plus_minus = "1/64 in" }'
    )
    change_plan(database, stricter)
    connect(tablet)
    tablet.send()
    expect_stored_once(database, tablet)
    assert {(reading.characteristic.control_plan_id, reading.verdict) for reading in kept(database, 5)} == {
        (1, "within")
    }
    assert tablet.entries()[0]["answer"]["remarks"] == []


def kept(database: Database, count: int) -> list[Reading]:
    """The newest readings, with the characteristic of each."""
    with database.read() as session:
        newest = list(session.scalars(select(Reading).order_by(Reading.id.desc()).limit(count)))
        assert all(reading.characteristic for reading in newest)
        return newest


def change_plan(database: Database, document: str, mark: str | None = None) -> None:
    """Adopts a version of the plan, and has a panel that waits follow it."""
    with database.write() as session:
        manager = person(session, "mira")
        version = adopt_plan(session, manager.plant, document, "Tried out.", manager, datetime.now(UTC))
        session.flush()
        for panel in session.scalars(select(Panel).where(Panel.mark == mark, Panel.waiting_at.is_not(None))):
            panel.control_plan_id = version.id


def without(key: str) -> str:
    """The plan of the demo without a characteristic."""
    parts = re.split(r"(?=^\[\[characteristic\]\]$)", default_document(), flags=re.MULTILINE)
    return "".join(part for part in parts if f'key = "{key}"' not in part)


def test_what_the_plan_does_not_ask_for_any_more_is_refused_in_words_and_the_rest_is_put_right(
    tablet: Visit, database: Database
) -> None:
    page = tablet.page
    cut_off(tablet)
    measure(tablet)
    change_plan(database, without("end_length"), "R-11")
    connect(tablet)
    tablet.send()
    assert states(tablet) == ["refused"]
    expect_line(tablet, "1 needs attention")
    page.goto(tablet.address + "/outbox?language=en")
    refused = page.locator("[data-section=refused] li")
    expect(refused).to_contain_text("end_length")
    refused.get_by_role("link", name="Correct").click()
    tablet.ready()
    expect(page.locator(".doubt")).to_contain_text("The server could not take this entry")
    expect(field(page, "AB")).to_have_value("24'")
    expect(page.get_by_label("DA", exact=True)).to_have_count(0)
    page.get_by_role("button", name="Next", exact=True).click()
    expect(result(page)).to_contain_text("All 3 readings within")
    tablet.send()
    assert states(tablet) == ["refused", "kept"]
    expect_line(tablet, "All on the server")
    assert [reading.characteristic.control_plan_id for reading in kept(database, 3)] == [2, 2, 2]


def test_an_entry_whose_whole_check_is_gone_says_why_and_is_set_aside(
    tablet: Visit, database: Database
) -> None:
    page = tablet.page
    cut_off(tablet)
    tablet.open_step("check")
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(result(page)).to_contain_text("within")
    change_plan(database, without("nailing_check"), "R-11")
    connect(tablet)
    tablet.send()
    page.goto(tablet.address + "/outbox?language=en")
    refused = page.locator("[data-section=refused] li")
    refused.get_by_role("link", name="Correct").click()
    tablet.ready()
    expect(page.locator(".doubt")).to_contain_text("The server could not take this entry")
    expect(page.locator(".doubt")).to_contain_text("nailing_check")
    page.go_back()
    refused.get_by_role("button", name="Set aside").first.click()
    page.get_by_label("Why is it set aside?").fill("Not asked for any more")
    page.get_by_label("Why is it set aside?").press("Enter")
    expect(page.locator("[data-section=aside] li")).to_contain_text("Set aside: Not asked for any more")
    expect_line(tablet, "All on the server")


# The tablet


LOSE_MEMORY = """
(() => {
  const open = IDBFactory.prototype.open;
  const opened = [];
  IDBFactory.prototype.open = function (...given) {
    if (window.isMemoryGone) throw new DOMException("gone", "UnknownError");
    const request = open.apply(this, given);
    request.addEventListener("success", () => opened.push(request.result));
    return request;
  };
  window.loseMemory = () => opened.forEach((database) => database.close());
})()
"""


def test_a_memory_that_the_browser_took_away_is_opened_anew_and_one_that_stays_away_is_told(
    visit: NewVisit, database: Database
) -> None:
    worker = visit()
    worker.page.add_init_script(LOSE_MEMORY)
    worker.sign_in("wren")
    worker.open_panel("sheathing_fence", "Closed roof panel")
    worker.page.evaluate("loseMemory()")
    measure(worker)
    assert len(worker.entries()) == 1
    worker.page.get_by_role("button", name="Measure again").click()
    worker.page.evaluate("() => { window.isMemoryGone = true; loseMemory(); }")
    enter(worker, LEANING)
    expect(worker.page.locator(".error:visible")).to_contain_text("This tablet could not save the entry")
    expect(worker.page.locator(".error:visible")).to_contain_text("Reload the page.")
    assert all(field(worker.page, label).input_value() == text for label, text in LEANING.items())
    # Reloaded, it works again, and what was typed is still there.
    worker.page.reload()
    worker.ready()
    worker.page.locator(".steps a").first.click()
    assert all(field(worker.page, label).input_value() == text for label, text in LEANING.items())
    field(worker.page, "Diagonal BD").press("Enter")
    expect(result(worker.page)).to_contain_text("1 of 5 readings not within")
    worker.send()
    expect_stored_once(database, worker, 2)


FULL = """
() => {
  window.put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = () => { throw new DOMException("full", "QuotaExceededError"); };
}
"""


def test_a_full_tablet_says_so_and_leaves_what_was_typed(tablet: Visit, database: Database) -> None:
    page = tablet.page
    page.evaluate(FULL)
    enter(tablet, SQUARE)
    error = page.locator(".error:visible")
    expect(error).to_contain_text("There is no room left on this tablet.")
    expect(error).to_contain_text("What you typed is still here.")
    assert all(field(page, label).input_value() == text for label, text in SQUARE.items())
    assert tablet.entries() == []
    page.evaluate("() => { IDBObjectStore.prototype.put = window.put; }")
    field(page, "Diagonal BD").press("Enter")
    expect(result(page)).to_contain_text("All 5 readings within")
    tablet.send()
    expect_stored_once(database, tablet)
    assert [entry.sequence for entry in stored(database)] == [1]


def test_two_workers_share_a_tablet_and_each_entry_is_theirs(tablet: Visit, database: Database) -> None:
    page = tablet.page
    typed(tablet, SQUARE)
    tablet.sign_in_by_pin("Ike Solano")
    assert all(field(page, label).input_value() == text for label, text in SQUARE.items())
    field(page, "Diagonal BD").press("Enter")
    expect(result(page)).to_contain_text("All 5 readings within")
    page.get_by_role("button", name="Go on").click()
    # The network may be gone: who signed in here before can take over again.
    cut_off(tablet)
    tablet.sign_in_by_pin("Wren Abbey")
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_role("heading", name="R-11 is done here")).to_be_visible()
    connect(tablet)
    tablet.send()
    with database.read() as session:
        rows = session.scalars(select(OutboxEntry).order_by(OutboxEntry.sequence))
        assert [row.person.name for row in rows] == ["Ike Solano", "Wren Abbey"]
        newest = session.scalars(select(Reading).order_by(Reading.id.desc()).limit(6)).all()
        assert [reading.person.name for reading in newest] == ["Wren Abbey"] + 5 * ["Ike Solano"]


def test_a_double_tap_on_save_answers_a_check_once(tablet: Visit, database: Database) -> None:
    tablet.open_step("check")
    tablet.page.get_by_label("Yes", exact=True).locator("visible=true").check()
    tablet.page.get_by_role("button", name="Save", exact=True).dblclick()
    expect(result(tablet.page).locator("visible=true")).to_contain_text("within")
    tablet.send()
    assert states(tablet) == ["kept"]
    assert len(stored(database)) == 1


def test_an_entry_left_by_the_back_button_while_it_could_be_undone_is_sent(
    tablet: Visit, database: Database
) -> None:
    # However long it takes to go back, the entry can still be undone.
    tablet.page.clock.set_fixed_time(datetime.now(UTC))
    measure(tablet)
    tablet.page.go_back()
    tablet.ready()
    expect(tablet.page.locator(".waiting .entered").locator("visible=true")).to_have_text(
        "1 entry here waits to be sent"
    )
    assert states(tablet) == ["holding"]
    tablet.send()
    expect_stored_once(database, tablet)


@pytest.mark.parametrize(("hours", "said"), [(3, "3 hours ahead"), (-3, "3 hours behind")])
def test_a_clock_three_hours_off_is_told_and_times_are_put_right(
    visit: NewVisit, database: Database, hours: int, said: str
) -> None:
    tablet = visit()
    tablet.page.clock.install(time=datetime.now(UTC) + timedelta(hours=hours))
    tablet.enrol(database)
    tablet.sign_in_by_pin("Wren Abbey")
    tablet.open_panel("sheathing_fence", "Closed roof panel")
    before = datetime.now(UTC)
    measure(tablet)
    after = datetime.now(UTC)
    # The server takes what the tablet's clock says for the moment at which that arrives.
    slack = timedelta(seconds=1) + time_to_send(tablet)
    expect_stored_once(database, tablet)
    off = datetime.fromisoformat(tablet.entries()[0]["entered_at"]) - before
    assert abs(off - timedelta(hours=hours)) < timedelta(minutes=1)
    assert all(before - slack <= r.measured_at <= after + slack for r in readings_of(database, tablet))
    with database.read() as session:
        [notice] = session.scalars(select(Notice).where(Notice.about == CLOCK))
        assert notice.facts["minutes"] == 60 * hours
    tablet.page.goto(tablet.address + "/outbox?language=en")
    expect(tablet.page.locator("[data-clock]")).to_contain_text(said)


def time_to_send(visit: Visit) -> timedelta:
    began = datetime.now(UTC)
    visit.send()
    return datetime.now(UTC) - began


def test_entries_of_the_build_before_are_sent_to_the_newer_one_and_then_it_is_taken(
    visit: NewVisit,
    database: Database,
    tmp_path: Path,
    server: DemoServer,
    request: pytest.FixtureRequest,
) -> None:
    server.stop()
    served = Served(database, tmp_path / "builds")
    request.addfinalizer(served.stop)
    served.start()
    tablet = visit()
    tablet.address = served.address
    tablet.enrol(database)
    tablet.sign_in_by_pin("Wren Abbey")
    open_and_keep(tablet, "/station/sheathing_fence?language=en")
    tablet.open_panel("sheathing_fence", "Closed roof panel")
    served.stop()
    measure(tablet)
    served.start("two")
    look_for_newer(tablet.page)
    expect_newer(tablet.page)
    # As long as a hand is on the page, it stays.
    tablet.page.evaluate(TOUCH)
    assert tablet.page.evaluate(IS_BUILD, "one")
    tablet.send()
    expect_stored_once(database, tablet)
    tablet.page.evaluate(LET_GO)
    until(tablet.page, IS_BUILD, "two")
    assert states(tablet) == ["kept"]


def test_three_days_without_a_network_arrive_with_the_times_they_were_measured(
    tablet: Visit, database: Database
) -> None:
    page = tablet.page
    cut_off(tablet)
    began = datetime.now(UTC) - 3 * DAY
    page.clock.install(time=began)
    for day in range(3):
        page.clock.pause_at(began + day * DAY + timedelta(hours=1))
        if day:
            typed(tablet, SQUARE)
            field(page, "Diagonal BD").press("Enter")
            # Overnight anybody may have come to the tablet.
            page.get_by_role("button", name="Yes, Wren Abbey").click()
            expect(result(page)).to_contain_text("All 5 readings within")
        else:
            measure(tablet)
        page.get_by_role("button", name="Measure again").click()
    page.clock.pause_at(datetime.now(UTC) + timedelta(seconds=5))
    expect_line(tablet, "3 waiting · oldest 2 days")
    expect(page.locator(".outbox-state .mark-outside")).to_be_visible()
    connect(tablet)
    tablet.send()
    expect_stored_once(database, tablet, 3)
    times = [reading.measured_at for reading in readings_of(database, tablet)[::5]]
    assert times == [
        began.replace(microsecond=began.microsecond // 1000 * 1000) + day * DAY + timedelta(hours=1)
        for day in range(3)
    ]
    with database.read() as session:
        assert notices_just_raised(session) == []
