"""The entry page in a real browser: one thing at a time, echoed, judged and saved on the tablet."""

from datetime import UTC, datetime, timedelta

import pytest
from playwright.sync_api import FilePayload, Locator, Page, expect
from sqlalchemy import select

from qc_app.records.database import Database
from qc_app.records.reading import Reading
from tests.browser.conftest import LANDSCAPE, PORTRAIT, NewVisit, Visit

pytestmark = pytest.mark.browser

SIDES = {"AB": "24'", "DC": "24'", "DA": "8'", "CB": "8'"}
# A true rectangle of 24 by 8 ft has diagonals of 303.5787 in: 25' 3 9/16" on a tape.
SQUARE = {**SIDES, "Diagonal AC": "25' 3 9/16", "Diagonal BD": "25' 3 9/16"}
# 1/8 in between the diagonals is a lean of 0.066 in over 8 ft (parallelogram law).
LEANING = {**SIDES, "Diagonal AC": "25' 3 5/8", "Diagonal BD": "25' 3 1/2"}


@pytest.fixture
def keeps_pages() -> bool:
    """Not here: what is entered is the same with kept pages, and fetching them takes the machine's time."""
    return False


@pytest.fixture
def worker(visit: NewVisit) -> Visit:
    """A worker at the first closed roof panel that waits at the fence: 24 by 8 ft, limits ± 1/16 in."""
    worker = visit()
    worker.sign_in("wren")
    worker.open_panel("sheathing_fence", "Closed roof panel")
    return worker


def field(page: Page, label: str) -> Locator:
    return page.get_by_label(label, exact=True).locator("visible=true")


def echo(worker: Visit, label: str, typed: str) -> Locator:
    typed_into = field(worker.page, label)
    typed_into.fill("")
    typed_into.press_sequentially(typed)
    return worker.page.locator(f"output[for={typed_into.get_attribute('id')}]")


def enter(worker: Visit, values: dict[str, str]) -> None:
    """Types into the fields by their labels; Enter is the keypad's Next, and saves after the last."""
    worker.choose_instruments()
    for label, text in values.items():
        field(worker.page, label).fill(text)
    field(worker.page, list(values)[-1]).press("Enter")


def result(page: Page) -> Locator:
    return page.locator(".result")


def test_a_length_within_is_echoed_two_ways_with_its_deviation(worker: Visit) -> None:
    expect(echo(worker, "AB", "23' 11 31/32")).to_have_text('✓ within · −1/32" · 287.969 in')


def test_a_length_exactly_on_its_limit_is_within_and_one_beyond_is_outside(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 1/16")).to_contain_text('within · +1/16"')
    expect(echo(worker, "AB", "24' 3/32")).to_contain_text('outside · +3/32"')


def test_a_length_finer_than_the_shops_tape_is_not_rounded(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 5/64")).to_contain_text('outside · +5/64"')


def test_a_diagonal_by_itself_has_no_limits(worker: Visit) -> None:
    expect(echo(worker, "Diagonal AC", "25-3-9")).to_have_text("25' 3 9/16\" = 303.563 in")


def test_half_a_length_says_nothing(worker: Visit) -> None:
    expect(echo(worker, "AB", "24' 1/")).to_have_text("")


def test_nothing_on_the_page_moves_when_the_echo_comes(worker: Visit) -> None:
    following = worker.page.get_by_role("button", name="Next", exact=True)
    before = following.bounding_box()
    expect(echo(worker, "AB", "24'")).to_contain_text("within")
    assert following.bounding_box() == before
    assert worker.violations() == []
    assert worker.complaints == []


def test_six_readings_are_tested_as_soon_as_they_are_there(worker: Visit) -> None:
    said = worker.page.locator("output.fit").first
    for label, typed in list(SQUARE.items())[:-1]:
        echo(worker, label, typed)
    expect(said).to_have_text("")
    echo(worker, "Diagonal BD", "25' 4 9/16")
    expect(said).to_contain_text("The six readings do not fit one panel: off by +0.969 in. Measure again.")
    echo(worker, "Diagonal BD", "25' 3 9/16")
    expect(said).to_contain_text("The six readings fit one panel.")


def test_six_readings_that_fit_are_saved_together_and_drawn(worker: Visit) -> None:
    enter(worker, SQUARE)
    expect(result(worker.page)).to_contain_text("All 5 readings within")
    expect(result(worker.page)).to_contain_text("Measured shape, deviations drawn")
    expect(result(worker.page)).to_contain_text("Square as closely as a tape can tell.")
    worker.page.get_by_role("button", name="Go on").click()
    expect(worker.page.get_by_role("heading", name="Nailing as scheduled")).to_be_visible()
    assert worker.complaints == []


def test_a_leaning_panel_is_told_how_to_be_racked_and_the_first_readings_stay(
    worker: Visit, database: Database
) -> None:
    page = worker.page
    enter(worker, LEANING)
    expect(result(page)).to_contain_text("1 of 5 readings not within")
    expect(result(page)).to_contain_text("Lean +0.066 in over the width")
    expect(result(page)).to_contain_text("To square it, push corner C towards D by 1/16")
    page.get_by_role("button", name="Measure again").click()
    expect(field(page, "AB")).to_have_value("")
    enter(worker, SQUARE)
    expect(result(page)).to_contain_text("All 5 readings within")
    worker.send()
    with database.read() as session:
        newest = session.scalars(select(Reading).order_by(Reading.id.desc()).limit(10)).all()
        assert [r.verdict for r in newest if r.characteristic.key == "squareness"] == ["within", "outside"]
        assert {r.supersedes_id for r in newest} == {None}


def test_a_tape_misread_by_an_inch_is_caught_before_anything_is_saved(worker: Visit) -> None:
    page = worker.page
    enter(worker, {**SQUARE, "Diagonal AC": "25' 4 9/16"})
    expect(page.locator(".doubt")).to_contain_text("Measure again before it leaves")
    expect(page.locator(".doubt")).to_contain_text(
        "AC alone could explain it, if it was read about 0.968 in too long (one inch)."
    )
    expect(field(page, "Diagonal AC")).to_have_value("25' 4 9/16")
    assert worker.entries() == []
    # Corrected, it is saved.
    enter(worker, SQUARE)
    expect(result(page)).to_contain_text("All 5 readings within")
    assert len(worker.entries()) == 1


def test_the_same_readings_a_second_time_are_believed(worker: Visit) -> None:
    wrong = {**SQUARE, "AB": "24' 1"}
    enter(worker, wrong)
    expect(worker.page.locator(".doubt")).to_be_visible()
    enter(worker, wrong)
    expect(result(worker.page)).to_contain_text("1 of 5 readings not within")
    [entry] = worker.entries()
    assert entry["content"]["doubted"] is True


def test_a_value_far_off_is_taken_after_measuring_again(worker: Visit) -> None:
    worker.open_panel("framing", "Closed roof panel")
    page = worker.page
    enter(worker, {"Length": "9'"})
    expect(page.locator(".doubt")).to_contain_text("from target. Measure again")
    expect(field(page, "Length")).to_have_value("")
    assert worker.entries() == []
    enter(worker, {"Length": "9' 0 1/32"})
    expect(result(page)).to_contain_text("outside")
    assert len(worker.entries()) == 1


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("", "Enter a value; nothing was entered."),
        ("5/0", "“5/0” has a fraction that no tape shows"),
        ("12' 14\"", "“12' 14\"” has 12 inches or more beside the feet."),
        ("-3", "“-3” has a sign."),
        ("1e9", "“1e9” is not a length."),
        ("<script>alert(1)</script>", "“<script>alert(1)</script>” is not a length."),
    ],
)
def test_what_cannot_be_read_is_named_at_its_field_and_kept(worker: Visit, typed: str, said: str) -> None:
    worker.open_panel("framing", "Closed roof panel")
    page = worker.page
    enter(worker, {"Length": typed})
    expect(page.locator(".error:visible")).to_contain_text(said)
    expect(field(page, "Length")).to_be_focused()
    expect(field(page, "Length")).to_have_attribute("aria-invalid", "true")
    expect(field(page, "Length")).to_have_value(typed)
    assert worker.entries() == []


def test_what_is_half_typed_survives_a_reload_and_is_never_measured_for_you(worker: Visit) -> None:
    page = worker.page
    field(page, "AB").press_sequentially("24' 1/16")
    page.reload()
    worker.ready()
    expect(field(page, "AB")).to_have_value("24' 1/16")
    expect(field(page, "DC")).to_have_value("")
    enter(worker, SQUARE)
    page.get_by_role("button", name="Go on").click()
    page.reload()
    worker.ready()
    page.locator(".steps a").first.click()
    expect(field(page, "AB")).to_have_value("")


def test_a_double_tap_saves_once(worker: Visit) -> None:
    page = worker.page
    worker.choose_instruments()
    for label, text in SQUARE.items():
        field(page, label).fill(text)
    page.get_by_role("button", name="Next", exact=True).dblclick()
    expect(result(page)).to_contain_text("All 5 readings within")
    assert len(worker.entries()) == 1


def test_the_back_button_goes_from_step_to_step_and_loses_nothing(worker: Visit) -> None:
    page = worker.page
    worker.open_panel("framing", "Closed roof panel")
    target = page.locator("dd:visible").first.inner_text()
    enter(worker, {"Length": target})
    expect(result(page)).to_contain_text("within")
    second = page.locator("h2:visible").inner_text()
    field(page, "Length").press_sequentially("20'")
    page.go_back()
    page.go_forward()
    expect(page.locator("h2:visible")).to_have_text(second)
    expect(field(page, "Length")).to_have_value("20'")
    assert len(worker.entries()) == 1


def test_an_entry_is_undone_within_ten_seconds_and_its_values_come_back(worker: Visit) -> None:
    page = worker.page
    page.clock.install()
    page.clock.pause_at(datetime.now(UTC) + timedelta(minutes=1))
    enter(worker, LEANING)
    page.get_by_role("button", name="Undo").click()
    expect(field(page, "Diagonal AC")).to_have_value("25' 3 5/8")
    assert worker.entries() == []
    enter(worker, SQUARE)
    expect(result(page)).to_contain_text("All 5 readings within")


def test_what_was_sent_is_corrected_with_a_reason_and_the_first_is_kept(
    worker: Visit, database: Database
) -> None:
    worker.open_panel("framing", "Closed roof panel")
    page = worker.page
    target = page.locator("dd:visible").first.inner_text()
    inches = page.evaluate(
        "Number(JSON.parse(document.getElementById('facts').textContent).steps[0][0].target)"
    )
    enter(worker, {"Length": f"{inches / 25_400_000 + 1 / 4}"})
    expect(result(page)).to_contain_text("outside")
    worker.send()
    page.locator(".steps a").first.click()
    page.get_by_role("button", name="Correct what was typed").click()
    enter(worker, {"Length": target})
    expect(page.locator(".error:visible")).to_contain_text("Say in a few words why it is corrected.")
    page.get_by_label("Why is it corrected?").locator("visible=true").fill("Read from the wrong edge")
    page.get_by_label("Why is it corrected?").locator("visible=true").press("Enter")
    expect(result(page)).to_contain_text("within")
    worker.send()
    with database.read() as session:
        corrected, first = session.scalars(select(Reading).order_by(Reading.id.desc()).limit(2)).all()
        assert corrected.supersedes_id == first.id
        assert corrected.reason == "Read from the wrong edge"


def test_a_bay_is_chosen_on_the_drawing_and_those_without_a_record_stand_out(worker: Visit) -> None:
    worker.open_panel("fill", "Closed roof panel")
    page = worker.page
    bays = page.locator(".bay-key")
    expect(bays.first).to_have_attribute("data-state", "none")
    bays.nth(2).click()
    expect(page.locator("h2:visible")).to_contain_text("bay 3")
    worker.fill_bay("4.0")
    expect(result(page)).to_contain_text("within")
    assert bays.nth(2).get_attribute("data-state") in ("within", "part")
    expect(bays.first).to_have_attribute("data-state", "none")
    # The next bay without a record is asked for, with the same blower setting and no mass.
    expect(page.locator("h2:visible")).to_contain_text("bay 4")
    expect(field(page, "Mass blown into this bay")).to_have_value("")
    expect(field(page, "Blower setting (optional)")).to_have_value("gate 4")


def test_a_core_shows_its_density_with_its_uncertainty_before_it_is_saved(worker: Visit) -> None:
    worker.open_panel("fill", "Closed roof panel")
    page = worker.page
    worker.open_step("core")
    worker.choose_instruments()
    field(page, "Mass of the core").fill("58 g")
    field(page, "Depth of the core").press_sequentially("11 1/4")
    shown = page.locator("section:visible .echo").nth(1)
    expect(shown).to_contain_text("lb/ft³")
    expect(shown).to_contain_text("±")


def test_faults_are_marked_on_the_drawing_by_finger_and_by_keys(worker: Visit, database: Database) -> None:
    worker.open_panel("framing", "Closed roof panel")
    worker.open_step("check")
    page = worker.page
    page.get_by_label("No", exact=True).locator("visible=true").check()
    drawing = page.locator("svg.markable:visible")
    drawing.click(position={"x": 120, "y": 90})
    drawing.press("ArrowLeft")
    drawing.press("Enter")
    expect(drawing.locator(".fault")).to_have_count(2)
    expect(field(page, "If no, how many faults?")).to_have_value("2")
    page.get_by_role("button", name="Take the last mark away").locator("visible=true").click()
    expect(drawing.locator(".fault")).to_have_count(1)
    field(page, "If no, how many faults?").press("Enter")
    expect(result(page)).to_contain_text("outside")
    worker.send()
    with database.read() as session:
        newest = session.scalars(select(Reading).order_by(Reading.id.desc())).first()
        assert newest is not None
        assert newest.entries["where"].count(",") == 1
        assert newest.amount == 2


def test_a_photo_is_made_small_and_goes_with_the_entry(worker: Visit, database: Database) -> None:
    worker.open_panel("framing", "Closed roof panel")
    worker.open_step("check")
    page = worker.page
    page.locator("section.step:not([hidden]) input[data-photo]").set_input_files(
        files=[FilePayload(name="p.png", mimeType="image/png", buffer=big_picture(page))]
    )
    expect(page.locator(".photos img:visible")).to_have_count(1)
    page.get_by_label("Yes", exact=True).locator("visible=true").check()
    page.get_by_role("button", name="Save", exact=True).click()
    expect(result(page)).to_contain_text("within")
    worker.send()
    with database.read() as session:
        newest = session.scalars(select(Reading).order_by(Reading.id.desc())).first()
        assert newest is not None
        [photo] = newest.photos
        assert max(photo.width, photo.height) == 1600
        assert photo.media_type == "image/jpeg"


def big_picture(page: Page) -> bytes:
    """A picture of 3200 by 2400, made by the browser."""
    data: list[int] = page.evaluate(
        """async () => {
          const canvas = Object.assign(document.createElement("canvas"), {width: 3200, height: 2400});
          canvas.getContext("2d").fillRect(0, 0, 1600, 1200);
          const blob = await new Promise((done) => canvas.toBlob(done, "image/png"));
          return [...new Uint8Array(await blob.arrayBuffer())];
        }"""
    )
    return bytes(data)


def test_penetrations_are_checked_one_by_one_with_what_the_schedule_says(worker: Visit) -> None:
    worker.open_panel("services", "Closed roof panel")
    page = worker.page
    steps = page.locator(".steps a", has_text="Sleeve as scheduled")
    assert steps.count() >= 1
    steps.first.click()
    expect(page.locator(".detail:visible")).to_contain_text("face")
    expect(page.locator("section:visible .penetration.here")).to_have_count(1)


def test_turning_the_tablet_keeps_what_is_typed_and_the_next_key_in_sight(worker: Visit) -> None:
    page = worker.page
    field(page, "AB").press_sequentially("24' 1/16")
    for size in (PORTRAIT, LANDSCAPE):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        expect(field(page, "AB")).to_have_value("24' 1/16")
        expect(page.get_by_role("button", name="Next", exact=True)).to_be_in_viewport(ratio=1)
        expect(field(page, "Diagonal BD")).to_be_in_viewport(ratio=1)


def test_a_lot_is_booked_in(worker: Visit, database: Database) -> None:
    page = worker.page
    page.goto(worker.address + "/lot")
    worker.ready()
    enter(worker, {"Lot mark": "LOT-77", "Length of a member": "9'", "Thickness": "1 1/2", "Depth": "7 1/4"})
    expect(result(page)).to_contain_text("Lot LOT-77 booked in")
    worker.send()
    page.goto(worker.address + "/station/framing")
    expect(page.locator(".waiting")).to_contain_text("LOT-77")
