"""The trust page in a real browser, and what a real browser makes of the certificate."""

import base64
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import Browser

from qc_app.records.database import Database
from qc_app.serve.authority import read_identity
from qc_app.serve.listen import listening
from qc_app.serve.service import Wish, prepared
from tests.browser.conftest import COUNT_VIOLATIONS, FLAGS, LANDSCAPE, chromium
from tests.ports import free_port

pytestmark = pytest.mark.browser

PHONE = (320, 700)


@dataclass(frozen=True)
class Shop:
    """Where a new log is served over TLS and in the clear, and the folder of its certificates."""

    secure: str
    plain: str
    folder: Path


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Shop]:
    database = Database(str(tmp_path / "qc.db"))
    database.migrate()
    port, plain_port = free_port(), free_port()
    service = prepared(database, Wish(host="127.0.0.1", port=port, plain_port=plain_port))
    with listening(service.listeners):
        yield Shop(f"https://localhost:{port}", f"http://127.0.0.1:{plain_port}", tmp_path / "qc.db.tls")
    database.close()


@pytest.mark.parametrize("size", [LANDSCAPE, PHONE], ids=["tablet", "phone"])
def test_the_trust_page_can_be_read_by_anybody(browser: Browser, served: Shop, size: tuple[int, int]) -> None:
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    context.add_init_script(COUNT_VIOLATIONS)
    page = context.new_page()
    for path, status in (("/trust", 200), ("/trust/why", 403)):
        answer = page.goto(served.plain + path)
        assert answer is not None
        assert answer.status == status
        found = Axe().run(page).response["violations"]
        assert [f"{v['id']}: {v['nodes'][0]['html'][:120]}" for v in found] == []
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        assert page.evaluate("window.policyViolations") == []
    context.close()


def test_the_code_is_large_and_square_enough_to_scan(browser: Browser, served: Shop) -> None:
    """Common practice: a module of half a millimetre or more on a screen, about three pixels of a desk's."""
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.goto(served.plain + "/trust")
    box = page.locator(".trust-code svg").bounding_box()
    modules = page.locator(".trust-code svg").evaluate("svg => svg.viewBox.baseVal.width")
    page.close()
    assert box is not None
    assert box["width"] == box["height"]
    assert box["width"] / modules >= 3


def test_the_certificate_can_be_downloaded(browser: Browser, served: Shop) -> None:
    page = browser.new_page()
    page.goto(served.plain + "/trust")
    with page.expect_download() as download:
        page.get_by_role("link", name="Download the certificate").click()
    authority = read_identity((served.folder / "authority.pem").read_bytes())
    assert download.value.suggested_filename == "quality-log.crt"
    assert Path(download.value.path()).read_bytes() == authority.der()
    page.close()


def test_a_browser_that_does_not_trust_the_authority_warns(browser: Browser, served: Shop) -> None:
    page = browser.new_page()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(served.secure + "/setup")
    page.close()


def test_over_tls_a_browser_gives_the_page_its_camera_and_its_store(browser: Browser, served: Shop) -> None:
    """W3C Secure Contexts: both are there only in one. The browser is told the server's key."""
    key = read_identity((served.folder / "server.pem").read_bytes()).certificate.public_key()
    spki = key.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    told = "--ignore-certificate-errors-spki-list=" + base64.b64encode(hashlib.sha256(spki).digest()).decode()
    opened = browser.browser_type.launch(executable_path=chromium(), args=[*FLAGS, told])
    page = opened.new_page()
    page.goto(served.secure + "/setup")
    assert page.evaluate(
        "window.isSecureContext && 'serviceWorker' in navigator && 'mediaDevices' in navigator"
    )
    assert [cookie["name"] for cookie in page.context.cookies()] == ["__Host-qc"]
    opened.close()
