"""A panel's label is read by camera or by hand scanner, and the panel is found."""

import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
import segno
from playwright.sync_api import Browser, CDPSession, Page, expect

from tests.browser.conftest import COUNT_VIOLATIONS, FLAGS, LANDSCAPE, PATIENCE, chromium
from tests.browser.shop_server import small_shop

pytestmark = pytest.mark.browser

Picture = npt.NDArray[np.uint8]

LABEL = "https://tablets.example/p/H1/R-01"
FAKE_CAMERA = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream")
INSTEAD = "Tap the panel in the list instead."

LOAD = """async () => {
    const sheet = document.querySelector("link[rel=stylesheet][href*='log.css']").href;
    window.scan = await import(new URL("tablet/scan.js", sheet));
}"""

OPEN = """(answers) => {
    const dialog = document.createElement("dialog");
    document.body.append(dialog);
    window.texts = [];
    window.isDone = false;
    window.stopped = scan.openCamera(dialog, (text) => {
        window.texts.push(text);
        return answers[text];
    }).then(() => { window.isDone = true; });
}"""

KEEP_TRACKS = """
window.tracks = [];
const ask = window.MediaDevices?.prototype.getUserMedia;
(window.MediaDevices ?? class {}).prototype.getUserMedia = async function (wanted) {
    window.wanted = wanted;
    const stream = await ask.call(this, wanted);
    window.tracks.push(...stream.getTracks());
    return stream;
};
"""


def picture(text: str, module: int = 6) -> Picture:
    """A label as a camera sees it: grey on grey, turned by 12 degrees, unevenly lit, with noise."""
    code = segno.make_qr(text, error="m")
    dark = np.kron(np.array([list(row) for row in code.matrix_iter(border=4)]), np.ones((module, module)))
    rows, columns = np.mgrid[0:480, 0:640]
    turn = np.radians(12)
    across, down = columns - 320, rows - 240
    x = np.rint(across * np.cos(turn) + down * np.sin(turn) + dark.shape[1] / 2).astype(int)
    y = np.rint(down * np.cos(turn) - across * np.sin(turn) + dark.shape[0] / 2).astype(int)
    inside = (x >= 0) & (x < dark.shape[1]) & (y >= 0) & (y < dark.shape[0])
    light = np.full((480, 640), 120.0)
    light[inside] = 200 - 150 * dark[y[inside], x[inside]]
    light *= 0.7 + 0.4 * columns / 640
    light += np.random.default_rng(7).normal(0, 6, light.shape)
    return light.clip(16, 235).astype(np.uint8)


def write_film(path: Path, pictures: list[Picture]) -> Path:
    """Grey pictures as an uncompressed film (YUV4MPEG2, chroma 4:2:0), a second each, over and over."""
    height, width = pictures[0].shape
    colour = bytes([128]) * (height * width // 2)
    with path.open("wb") as film:
        film.write(f"YUV4MPEG2 W{width} H{height} F5:1 Ip A1:1 C420jpeg\n".encode())
        for shown in pictures:
            film.write((b"FRAME\n" + shown.tobytes() + colour) * 5)
    return path


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with small_shop(tmp_path_factory.mktemp("shop")) as served:
        yield served


Tablet = Callable[..., AbstractContextManager[Page]]


@pytest.fixture
def tablet(browser: Browser, address: str) -> Tablet:
    """Opens a page in a browser of its own, which is started with the given flags."""

    @contextmanager
    def opened(*flags: str, before: str = "", at: str = address) -> Iterator[Page]:
        started = browser.browser_type.launch(executable_path=chromium(), args=[*FLAGS, *flags])
        try:
            yield from _page(started, at, before)
        finally:
            started.close()

    return opened


def _page(browser: Browser, address: str, before: str = "") -> Iterator[Page]:
    """A page of the app with the module loaded; nothing may break the policy."""
    context = browser.new_context(viewport={"width": LANDSCAPE[0], "height": LANDSCAPE[1]})
    context.set_default_timeout(PATIENCE)
    context.add_init_script(COUNT_VIOLATIONS + KEEP_TRACKS + before)
    page = context.new_page()
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(address + "/sign-in")
    page.evaluate(LOAD)
    yield page
    assert page.evaluate("window.policyViolations") == []
    assert errors == []
    context.close()


def film_flag(path: Path) -> str:
    return f"--use-file-for-fake-video-capture={path}"


def wait_until(page: Page, condition: str) -> None:
    """Asks again and again; the browser's own way of waiting would break the policy."""
    end = time.monotonic() + PATIENCE / 1000
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(50)


def is_off(page: Page) -> bool:
    states = page.evaluate("window.tracks.map((track) => track.readyState)")
    return bool(states) and set(states) == {"ended"}


# What a label says


@pytest.fixture
def page(browser: Browser, address: str) -> Iterator[Page]:
    """A page in the browser of all tests, which has no camera."""
    yield from _page(browser, address)


@pytest.mark.parametrize(
    ("text", "building", "mark"),
    [
        ("https://tablets.example/p/H1/R-01", "H1", "R-01"),
        ("http://192.168.1.20:8443/p/H1/R-01", "H1", "R-01"),
        ("HTTPS://TABLETS.EXAMPLE/p/h1/r-01", "h1", "r-01"),
        ("https://tablets.example/p/H%202/W%231%3F", "H 2", "W#1?"),
        ("https://tablets.example/p/H%C3%BCs/%C3%98-1", "Hüs", "Ø-1"),
        ("https://tablets.example/log/p/H1/R-01?from=label#top", "H1", "R-01"),
        ("H1/R-01", "H1", "R-01"),
        ("  H1 / R-01\r\n", "H1", "R-01"),
        ("R-01", None, "R-01"),
        ("24/017/R-01", "24", "017/R-01"),
    ],
)
def test_a_label_is_an_address_or_code_and_mark_or_a_mark(
    page: Page, text: str, building: str | None, mark: str
) -> None:
    assert page.evaluate("(text) => scan.readLabel(text)", text) == {"building": building, "mark": mark}


HOSTILE = [
    "",
    "   ",
    "/",
    "H1/",
    "/R-01",
    "---",
    "..",
    "../../sign-out",
    "H1/../sign-out",
    "https://tablets.example/",
    "https://tablets.example/p/H1",
    "https://tablets.example/p/H1/",
    "https://tablets.example/p/H1/../../sign-out",
    "https://tablets.example/p/H1/%2e%2e/%2e%2e/sign-out",
    "https://tablets.example/p/H1/%E0%A4%A",
    "https://tablets.example/p/H1/R%00-01",
    "https://tablets.example/p/H1/R%0A01",
    "https://tablets.example/p/H1/%3Cscript%3E",
    "https://",
    "javascript:alert(1)",
    "JAVASCRIPT:alert(1)//p/H1/R-01",
    "data:text/html,<script>alert(1)</script>",
    "ftp://tablets.example/p/H1/R-01",
    "WIFI:T:WPA;S:shop;P:secret;;",
    "<img src=x onerror=alert(1)>",
    "R-01\x00",
    "R-\x1b[2J01",
    "R\u202e10-",
    "H1\\R-01",
    "x" * 41,
    "y" * 21 + "/R-01",
    "https://tablets.example/p/H1/R-01?" + "z" * 500,
]


def test_anything_else_is_no_label(page: Page) -> None:
    assert page.evaluate("(texts) => texts.filter((text) => scan.readLabel(text) !== null)", HOSTILE) == []


# Which panel it is


def known(building: str, mark: str, waiting_at: str | None = "fill", held: bool = False) -> dict[str, Any]:
    names = {"fill": "Filling", "framing": "Framing"}
    return {
        "building": building,
        "mark": mark,
        "address": f"/station/fill/panel/{building}-{mark}",
        "waitingAt": waiting_at,
        "stationName": names[waiting_at] if waiting_at else None,
        "held": held,
    }


LIST = [
    known("H1", "R-01"),
    known("H1", "R-02", "framing"),
    known("H1", "R-03", held=True),
    known("H1", "R-04", None),
    known("H1", "W-01"),
    known("H2", "W-01"),
    known("24/017", "R-09"),
]


@pytest.fixture
def found(page: Page) -> Callable[[str], Any]:
    """What the tablet at the filling station answers to a text."""
    return lambda text: page.evaluate(
        "([list, text]) => scan.findPanel(list, scan.readLabel(text), 'fill')", [LIST, text]
    )


@pytest.fixture
def said(page: Page, found: Callable[[str], Any]) -> Callable[[str], str]:
    """The sentence that the answer stands for."""
    fill_in = "(answer) => scan.sentence(scan.WORDS[answer.key], answer.facts)"
    return lambda text: str(page.evaluate(fill_in, found(text)))


@pytest.mark.parametrize("text", ["https://else.example/p/H1/R-01", "h1/r-01", "R-01", "r-01"])
def test_a_panel_that_waits_here_is_found(found: Callable[[str], Any], text: str) -> None:
    assert found(text) == {"address": "/station/fill/panel/H1-R-01"}


def test_a_code_with_a_stroke_in_it_is_found(found: Callable[[str], Any]) -> None:
    address = {"address": "/station/fill/panel/24/017-R-09"}
    assert found("https://else.example/p/24/017/R-09") == address
    assert found("24/017/R-09") == address


def test_a_panel_in_no_list_is_unknown(found: Callable[[str], Any], said: Callable[[str], str]) -> None:
    assert found("H1/R-77")["panels"] == []
    assert said("H1/R-77").startswith("This tablet knows no panel H1/R-77.")
    assert said("H2/R-01").startswith("This tablet knows no panel H2/R-01.")


def test_a_panel_elsewhere_says_where(found: Callable[[str], Any], said: Callable[[str], str]) -> None:
    assert said("R-02") == "Panel H1/R-02 waits at Framing, not here."
    assert [panel["mark"] for panel in found("R-02")["panels"]] == ["R-02"]


def test_a_held_panel_says_so(said: Callable[[str], str]) -> None:
    assert said("H1/R-03") == "Panel H1/R-03 is on hold. Ask the shop lead."


def test_a_panel_that_waits_nowhere_says_so(said: Callable[[str], str]) -> None:
    assert said("H1/R-04") == "Panel H1/R-04 waits at no station: nothing is due on it."


def test_a_mark_in_two_buildings_asks_which(found: Callable[[str], Any], said: Callable[[str], str]) -> None:
    assert said("W-01") == "There is a panel W-01 in several buildings. Which building is it?"
    assert [panel["building"] for panel in found("W-01")["panels"]] == ["H1", "H2"]
    assert found("H2/W-01") == {"address": "/station/fill/panel/H2-W-01"}


def test_no_label_is_said_as_such(said: Callable[[str], str]) -> None:
    assert said("javascript:alert(1)").startswith("That is no panel's label.")


def test_facts_are_put_in_once(page: Page) -> None:
    """A mark that looks like a place stays a mark."""
    put = "scan.sentence('{label} at {station}, {other}', { label: '{station}', station: 'Fill' })"
    assert page.evaluate(put) == "{station} at Fill, {other}"


# A hand scanner

FORM = """() => {
    document.body.insertAdjacentHTML("beforeend",
        "<form id=f><input id=search data-scan><input id=other><button id=go>Go</button></form>");
    window.pressed = 0;
    window.sent = 0;
    const go = document.getElementById("go");
    go.addEventListener("click", () => { window.pressed += 1; });
    go.form.addEventListener("submit", (event) => { event.preventDefault(); window.sent += 1; });
    document.activeElement.blur();
    window.scanned = [];
    window.stop = scan.listenForScanner((text) => window.scanned.push(text));
}"""


class Keys:
    """Real key presses whose times are given, so that a busy machine makes no difference."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.session: CDPSession = page.context.new_cdp_session(page)
        self.time = time.time()
        page.evaluate(FORM)

    def press(self, key: str, after: float, **more: Any) -> None:
        self.time += after / 1000
        text = {"Enter": "\r"}.get(key, key if len(key) == 1 else "")
        code = {"Enter": 13, "Tab": 9, "Shift": 16, " ": 32}.get(key, 0)
        common = {"key": key, "windowsVirtualKeyCode": code, "timestamp": self.time, **more}
        self.session.send("Input.dispatchKeyEvent", {"type": "keyDown", "text": text, **common})
        self.session.send("Input.dispatchKeyEvent", {"type": "keyUp", **common})

    def type(self, text: str, every: float, end: str = "Enter") -> list[str]:
        """Types with so many milliseconds between keys; returns all that was taken for a scan so far."""
        for number, sign in enumerate(text):
            self.press(sign, every if number else 1000)
        self.press(end, every)
        return self.scanned

    @property
    def scanned(self) -> list[str]:
        taken: list[str] = self.page.evaluate("window.scanned")
        return taken

    def value(self, field: str) -> str:
        return self.page.locator(f"#{field}").input_value()


@pytest.fixture
def keys(page: Page) -> Keys:
    """Keys on a page that listens for a scanner."""
    return Keys(page)


@pytest.mark.parametrize("end", ["Enter", "Tab"])
def test_a_fast_run_of_keys_is_a_scan(keys: Keys, end: str) -> None:
    assert keys.type(LABEL, every=5, end=end) == [LABEL]
    assert keys.type("H1/R-02", every=45, end=end) == [LABEL, "H1/R-02"]


def test_slower_typing_is_a_persons(keys: Keys) -> None:
    assert keys.type("H1/R-01", every=60) == []


def test_fewer_than_six_characters_are_a_persons(keys: Keys) -> None:
    assert keys.type("R-001", every=5) == []
    assert keys.type("R-0001", every=5) == ["R-0001"]


def test_a_slow_start_is_not_part_of_the_scan(keys: Keys) -> None:
    keys.press("x", after=1000)
    assert keys.type("H1/R-01", every=5) == ["H1/R-01"]


def test_a_pause_in_the_middle_breaks_a_scan(keys: Keys) -> None:
    for sign in "H1/R-0":
        keys.press(sign, after=5)
    keys.press("1", after=80)
    keys.press("Enter", after=5)
    assert keys.scanned == []


def test_enter_long_after_is_no_end_of_a_scan(keys: Keys) -> None:
    for sign in "H1/R-01":
        keys.press(sign, after=5)
    keys.press("Enter", after=400)
    assert keys.scanned == []


def test_shift_between_capitals_is_part_of_a_scan(keys: Keys) -> None:
    for sign in "H1/R-01":
        keys.press("Shift", after=2)
        keys.press(sign, after=2)
    keys.press("Enter", after=2)
    assert keys.scanned == ["H1/R-01"]


def test_a_key_held_down_is_no_scan(keys: Keys) -> None:
    for _ in range(20):
        keys.press("7", after=30, autoRepeat=True)
    keys.press("Enter", after=30)
    assert keys.scanned == []


def test_keys_with_control_are_no_scan(keys: Keys) -> None:
    for _ in range(8):
        keys.press("7", after=5, modifiers=2)
    keys.press("Enter", after=5)
    assert keys.scanned == []


def test_a_scan_into_its_field_is_taken_out_of_it(keys: Keys) -> None:
    keys.page.locator("#search").focus()
    assert keys.type("H1/R-01", every=5) == ["H1/R-01"]
    assert keys.value("search") == ""
    assert keys.page.evaluate("window.sent") == 0
    assert keys.page.evaluate("document.activeElement.id") == "search"


def test_what_a_person_types_into_its_field_stays(keys: Keys) -> None:
    keys.page.locator("#search").focus()
    assert keys.type("R-0001", every=120) == []
    assert keys.value("search") == "R-0001"
    assert keys.page.evaluate("window.sent") == 1


def test_a_scan_into_any_other_field_is_that_fields(keys: Keys) -> None:
    keys.page.locator("#other").focus()
    assert keys.type("H1/R-01", every=5, end="Tab") == []
    assert keys.value("other") == "H1/R-01"


def test_a_scan_presses_no_button(keys: Keys) -> None:
    """Enter and space would, on the button that was touched last."""
    keys.page.locator("#go").focus()
    assert keys.type("H 2/W-01", every=5) == ["H 2/W-01"]
    assert keys.page.evaluate("[window.pressed, window.sent]") == [0, 0]


def test_a_persons_enter_still_presses_a_button(keys: Keys) -> None:
    keys.page.locator("#go").focus()
    keys.press("Enter", after=1000)
    assert keys.page.evaluate("window.pressed") == 1


def test_a_stopped_listener_hears_nothing(keys: Keys) -> None:
    keys.page.evaluate("window.stop()")
    assert keys.type("H1/R-01", every=5) == []


# The camera


@pytest.fixture(scope="module")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A label held before the camera."""
    return write_film(tmp_path_factory.mktemp("film") / "label.y4m", [picture(LABEL)])


def test_the_camera_reads_a_tilted_label_and_is_off_afterwards(tablet: Tablet, film: Path) -> None:
    with tablet(*FAKE_CAMERA, film_flag(film)) as page:
        assert page.evaluate("window.BarcodeDetector === undefined"), "the vendored reader is not what reads"
        page.evaluate(OPEN, {})
        wait_until(page, "window.isDone")
        assert page.evaluate("window.texts") == [LABEL]
        assert page.evaluate("window.wanted.video.facingMode") == "environment"
        assert is_off(page)
        expect(page.locator("dialog")).to_be_hidden()


def test_the_camera_looks_on_after_something_else(tablet: Tablet, tmp_path: Path) -> None:
    other = "https://else.example/"
    film = write_film(tmp_path / "two.y4m", [picture(other), picture(LABEL)])
    with tablet(*FAKE_CAMERA, film_flag(film)) as page:
        page.evaluate(OPEN, {other: "That is no panel's label.", LABEL: "That is R-01."})
        expect(page.get_by_role("status")).to_have_text("That is no panel's label.")
        expect(page.get_by_role("status")).to_have_text("That is R-01.")
        assert set(page.evaluate("window.texts")) == {other, LABEL}
        assert not is_off(page)


def test_the_camera_shows_its_picture_over_everything_and_closes(tablet: Tablet, tmp_path: Path) -> None:
    film = write_film(tmp_path / "blank.y4m", [np.full((480, 640), 120, np.uint8)])
    with tablet(*FAKE_CAMERA, film_flag(film)) as page:
        page.evaluate(OPEN, {})
        wait_until(page, "document.querySelector('dialog video').currentTime > 0.2")
        assert page.locator("dialog").bounding_box() == {"x": 0, "y": 0, "width": 1280, "height": 800}
        expect(page.get_by_role("status")).to_have_text("Hold the panel's label before the camera.")
        expect(page.get_by_role("button", name="Light on")).to_be_hidden()
        close = page.get_by_role("button", name="Close")
        box = close.bounding_box()
        assert box is not None
        # 20 mm are 104 CSS px on a tablet of 264 dots to the inch at two dots a px: 20 / 25.4 * 132
        assert min(box["width"], box["height"]) >= 20 / 25.4 * 132 - 0.1
        close.click()
        wait_until(page, "window.isDone")
        assert is_off(page)
        assert page.evaluate("window.texts") == []


def test_the_camera_is_off_when_the_page_is_hidden(tablet: Tablet, tmp_path: Path) -> None:
    film = write_film(tmp_path / "blank.y4m", [np.full((480, 640), 120, np.uint8)])
    with tablet(*FAKE_CAMERA, film_flag(film)) as page:
        page.evaluate(OPEN, {})
        wait_until(page, "document.querySelector('dialog video').currentTime > 0.2")
        page.evaluate("""() => {
            Object.defineProperty(document, "hidden", { value: true });
            document.dispatchEvent(new Event("visibilitychange"));
        }""")
        wait_until(page, "window.isDone")
        assert is_off(page)
        expect(page.locator("dialog")).to_be_hidden()


WITH_LIGHT = """
window.asked = [];
MediaStreamTrack.prototype.getCapabilities = () => ({ torch: true });
MediaStreamTrack.prototype.applyConstraints = async (wanted) => window.asked.push(wanted.advanced[0].torch);
"""


def test_a_camera_with_a_light_offers_it(tablet: Tablet, tmp_path: Path) -> None:
    film = write_film(tmp_path / "blank.y4m", [np.full((480, 640), 120, np.uint8)])
    with tablet(*FAKE_CAMERA, film_flag(film), before=WITH_LIGHT) as page:
        page.evaluate(OPEN, {})
        page.get_by_role("button", name="Light on").click()
        page.get_by_role("button", name="Light off").click()
        expect(page.get_by_role("button", name="Light on")).to_be_visible()
        assert page.evaluate("window.asked") == [True, False]


OWN_READER = """
window.BarcodeDetector = class {
    static async getSupportedFormats() { return %s; }
    async detect() { %s }
};
"""
READS = "return [{ rawValue: 'by the browser' }];"


@pytest.mark.parametrize(
    ("formats", "detect", "text"),
    [
        ("['qr_code']", READS, "by the browser"),
        ("['ean_13']", READS, LABEL),
        ("['qr_code']", "throw new DOMException('service unavailable', 'NotSupportedError');", LABEL),
    ],
)
def test_the_browsers_own_reader_comes_first_if_it_reads(
    tablet: Tablet, film: Path, formats: str, detect: str, text: str
) -> None:
    with tablet(*FAKE_CAMERA, film_flag(film), before=OWN_READER % (formats, detect)) as page:
        page.evaluate(OPEN, {})
        wait_until(page, "window.isDone")
        assert page.evaluate("window.texts") == [text]
        assert page.evaluate("'jsQR' in window") == (text == LABEL)


def test_a_refused_camera_says_what_to_do_instead(tablet: Tablet) -> None:
    flags = ("--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream=deny")
    with tablet(*flags) as page:
        page.evaluate(OPEN, {})
        expect(page.get_by_role("status")).to_have_text(f"This page may not use the camera. {INSTEAD}")
        page.get_by_role("button", name="Close").click()
        expect(page.locator("dialog")).to_be_hidden()


def test_a_tablet_without_a_camera_says_what_to_do_instead(tablet: Tablet) -> None:
    flags = ("--use-fake-device-for-media-stream=device-count=0", "--use-fake-ui-for-media-stream")
    with tablet(*flags) as page:
        page.evaluate(OPEN, {})
        expect(page.get_by_role("status")).to_have_text(f"This tablet has no camera. {INSTEAD}")


def test_an_address_without_tls_says_what_to_do_instead(tablet: Tablet, address: str) -> None:
    flags = ("--host-resolver-rules=MAP tablets.example 127.0.0.1", *FAKE_CAMERA)
    with tablet(*flags, at=address.replace("127.0.0.1", "tablets.example")) as page:
        assert page.evaluate("window.isSecureContext") is False
        page.evaluate(OPEN, {})
        expect(page.get_by_role("status")).to_contain_text("begins with https")
        expect(page.get_by_role("status")).to_contain_text(INSTEAD)


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("NotReadableError", "Something else is using the camera."),
        ("UnknownError", "The camera does not work now."),
    ],
)
def test_a_camera_that_fails_says_what_to_do_instead(tablet: Tablet, name: str, sentence: str) -> None:
    failing = (
        f"MediaDevices.prototype.getUserMedia = async () => {{ throw new DOMException('', '{name}'); }};"
    )
    with tablet(*FAKE_CAMERA, before=failing) as page:
        page.evaluate(OPEN, {})
        expect(page.get_by_role("status")).to_have_text(f"{sentence} {INSTEAD}")


LATE = """
const open = MediaDevices.prototype.getUserMedia;
MediaDevices.prototype.getUserMedia = async function (wanted) {
    const stream = await open.call(this, wanted);
    await new Promise((allow) => { window.allow = allow; });
    return stream;
};
"""


def test_a_camera_allowed_after_closing_is_switched_off_at_once(tablet: Tablet, film: Path) -> None:
    with tablet(*FAKE_CAMERA, film_flag(film), before=LATE) as page:
        page.evaluate(OPEN, {})
        wait_until(page, "window.allow !== undefined")
        page.get_by_role("button", name="Close").click()
        expect(page.locator("dialog")).to_be_hidden()
        page.evaluate("window.allow()")
        wait_until(page, "window.isDone")
        assert is_off(page)
        assert page.evaluate("window.texts") == []
