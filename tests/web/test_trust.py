"""The page on which a tablet comes to trust the shop's authority."""

import hashlib
import re
from datetime import UTC, datetime

import pytest
import segno
from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from flask.testing import FlaskClient

from qc_app.records.database import Database
from qc_app.serve.authority import make_authority
from qc_app.web import create_app
from qc_app.web.everyone.trust import Trust

AUTHORITY = make_authority("shop", datetime(2026, 3, 2, tzinfo=UTC))


def trust(*hosts: str) -> Trust:
    return Trust(AUTHORITY.der(), AUTHORITY.name(), lambda: hosts, 8443, 8080)


@pytest.fixture
def tablet(sqlite_database: Database) -> FlaskClient:
    return create_app(sqlite_database, trust=trust("192.168.7.20", "shop.local")).test_client()


def test_anybody_may_see_it_before_the_log_is_even_set_up(tablet: FlaskClient) -> None:
    page = tablet.get("/trust").get_data(as_text=True)
    assert "Quality log on shop" in page
    assert "On an iPad" in page
    assert "On an Android tablet" in page
    assert "shop’s own tablets only" in page
    for address in ("https://192.168.7.20:8443/", "https://shop.local:8443/"):
        assert f'href="{address}"' in page


def test_it_shows_the_fingerprint_in_pairs_as_devices_do(tablet: FlaskClient) -> None:
    page = tablet.get("/trust").get_data(as_text=True)
    shown = re.search(r'<pre class="fingerprint"[^>]*>([^<]+)</pre>', page)
    assert shown is not None
    rows = shown[1].splitlines()
    assert [len(row.split()) for row in rows] == [8, 8, 8, 8]
    assert bytes.fromhex("".join(rows)) == AUTHORITY.certificate.fingerprint(SHA256())


def test_it_hands_out_the_certificate_and_never_the_key(tablet: FlaskClient) -> None:
    answer = tablet.get("/trust/authority.crt")
    assert answer.content_type == "application/x-x509-ca-cert"
    assert answer.data == AUTHORITY.der()
    assert x509.load_der_x509_certificate(answer.data) == AUTHORITY.certificate
    assert "quality-log.crt" in answer.headers["Content-Disposition"]


def test_the_code_to_scan_leads_to_the_trust_page_by_address(tablet: FlaskClient) -> None:
    """The symbol for just this address, with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    page = tablet.get("/trust").get_data(as_text=True)
    drawing = re.search(r"<svg.*?</svg>", page, re.DOTALL)
    assert drawing is not None
    wanted = segno.make_qr("http://192.168.7.20:8080/trust", error="m")
    size = wanted.symbol_size(border=4)[0]
    assert f'viewBox="0 0 {size} {size}"' in drawing[0]
    line = re.search(r' d="([^"]+)"', wanted.svg_inline(border=4, omitsize=True))
    assert line is not None
    assert line[1] in drawing[0]


def test_the_code_needs_no_style_of_its_own(tablet: FlaskClient) -> None:
    page = tablet.get("/trust").get_data(as_text=True)
    assert "style=" not in page
    assert "<style" not in page


def test_addresses_are_asked_anew_since_they_change(sqlite_database: Database) -> None:
    hosts = ["192.168.7.20"]
    changing = Trust(AUTHORITY.der(), AUTHORITY.name(), lambda: tuple(hosts), 8443, 8080)
    tablet = create_app(sqlite_database, trust=changing).test_client()
    assert "192.168.7.20" in tablet.get("/trust").get_data(as_text=True)
    hosts[0] = "192.168.7.99"
    page = tablet.get("/trust").get_data(as_text=True)
    assert "192.168.7.99" in page
    assert "192.168.7.20" not in page


def test_without_an_authority_there_is_nothing_to_trust(sqlite_database: Database) -> None:
    tablet = create_app(sqlite_database).test_client()
    assert "nothing to trust by hand" in tablet.get("/trust").get_data(as_text=True)
    assert tablet.get("/trust/authority.crt").status_code == 404
    assert tablet.get("/trust/why").status_code == 403


@pytest.mark.parametrize(
    ("asked", "led_to"),
    [
        ("shop.local:8080", "https://shop.local:8443/"),
        ("shop.local", "https://shop.local:8443/"),
        ("192.168.7.20:8080", "https://192.168.7.20:8443/"),
        ("[fd00::7]:8080", "https://[fd00::7]:8443/"),
        ("[fd00::7]", "https://[fd00::7]:8443/"),
    ],
)
def test_the_reason_leads_to_the_same_machine_over_tls(tablet: FlaskClient, asked: str, led_to: str) -> None:
    answer = tablet.get("/trust/why", headers={"Host": asked})
    assert answer.status_code == 403
    assert f'href="{led_to}"' in answer.get_data(as_text=True)


def test_a_machine_without_a_network_names_itself() -> None:
    alone = trust()
    assert alone.page() == "http://localhost:8080/trust"
    assert alone.log() == ("https://localhost:8443/",)


def test_the_fingerprint_is_the_hash_of_what_is_handed_out() -> None:
    """FIPS 180-4: SHA-256; its first and last pair here, worked out from the bytes themselves."""
    digest = hashlib.sha256(AUTHORITY.der()).hexdigest().upper()
    joined = " ".join(trust().fingerprint())
    assert joined.startswith(digest[:2])
    assert joined.endswith(digest[-2:])
