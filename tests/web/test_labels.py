"""Labels can be read, and lead to the panel they stick on."""

import re
from dataclasses import dataclass
from html import unescape

import numpy as np
import numpy.typing as npt
import pytest
import zxingcpp
from flask import Flask

from qc_app.records.database import Database
from qc_app.web import create_app
from qc_app.web.request import now
from qc_app.work import find
from qc_app.work.schedule import add_building, add_panel
from qc_app.work.sign_in import open_sign_in
from tests.conftest import NOW, Cast, roof_panel
from tests.web.conftest import Browser, SignedIn

QUIET_ZONE = 4
"""Modules; ISO/IEC 18004:2015, 6.3.8 (quiet zone of a QR code), from memory."""


@dataclass(frozen=True)
class Printed:
    """One label as the page shows it."""

    modules: npt.NDArray[np.uint8]
    words: str
    address: str

    def read(self) -> str:
        """What a reader that is no part of this program makes of the picture, at eight dots a module."""
        dots = np.kron(255 * (1 - self.modules), np.ones((8, 8))).astype(np.uint8)
        found = zxingcpp.read_barcodes(dots)
        assert len(found) == 1
        return str(found[0].text)


def printed(page: str) -> list[Printed]:
    return [_printed(part) for part in page.split('<ul class="labels">')[1].split("<li>")[1:]]


def _printed(part: str) -> Printed:
    box = re.search(r'viewBox="0 0 (\d+) (\d+)"', part)
    path = re.search(r'<path d="([^"]+)"', part)
    address = re.search(r'class="address">([^<]+)<', part)
    assert box is not None
    assert path is not None
    assert address is not None
    assert box[1] == box[2]
    words = unescape(re.sub(r"<[^>]+>", " ", part))
    return Printed(_modules(int(box[1]), path[1]), " ".join(words.split()), unescape(address[1]))


def _modules(side: int, path: str) -> npt.NDArray[np.uint8]:
    modules = np.zeros((side, side), np.uint8)
    runs = re.findall(r"M(\d+) (\d+)h(\d+)v1h-(\d+)z", path)
    assert "".join("M{} {}h{}v1h-{}z".format(*run) for run in runs) == path
    for x, y, length, back in runs:
        assert length == back
        modules[int(y), int(x) : int(x) + int(length)] = 1
    return modules


@pytest.fixture
def labels(shop: Cast, signed_in: SignedIn) -> list[Printed]:
    return printed(signed_in("worker").get(f"/building/{shop.building}/labels"))


def test_each_panel_has_a_label_that_reads_as_its_address(labels: list[Printed]) -> None:
    assert [label.read() for label in labels] == ["http://localhost/p/H1/R-01", "http://localhost/p/H1/F-01"]
    assert [label.address for label in labels] == [label.read() for label in labels]


def test_a_label_says_the_same_in_words(labels: list[Printed]) -> None:
    assert labels[0].words == "Building H1 R-01 Closed roof panel http://localhost/p/H1/R-01"


def test_a_label_keeps_the_quiet_zone(labels: list[Printed]) -> None:
    for label in labels:
        inner = label.modules[QUIET_ZONE:-QUIET_ZONE, QUIET_ZONE:-QUIET_ZONE]
        assert inner.sum() == label.modules.sum()
        # A finder pattern begins in three of the corners.
        assert (inner[0, 0], inner[0, -1], inner[-1, 0]) == (1, 1, 1)


def test_a_label_still_reads_with_a_dirty_spot(labels: list[Printed]) -> None:
    """Level M mends about 15 % of the code words (ISO/IEC 18004:2015, table 8, from memory)."""
    label = labels[0]
    middle = len(label.modules) // 2
    label.modules[middle - 2 : middle + 3, middle - 2 : middle + 3] = 1
    assert label.read() == "http://localhost/p/H1/R-01"


def test_a_label_leads_to_the_host_by_which_the_page_was_opened(shop: Cast, signed_in: SignedIn) -> None:
    client = signed_in("worker").client
    page = client.get(f"/building/{shop.building}/labels", base_url="http://localhost:8443")
    assert printed(page.get_data(as_text=True))[0].read() == "http://localhost:8443/p/H1/R-01"


def test_over_tls_a_label_leads_there_over_tls(sqlite_database: Database, shop: Cast) -> None:
    client = create_app(sqlite_database, secure=True).test_client()
    with sqlite_database.write() as session:
        token = open_sign_in(session, shop.worker, now())
    with client.session_transaction(base_url="https://localhost") as cookie:
        cookie["token"] = token
    page = client.get(f"/building/{shop.building}/labels", base_url="https://localhost")
    assert printed(page.get_data(as_text=True))[0].read() == "https://localhost/p/H1/R-01"


AWKWARD = [("24/017", "R-01"), ("H 2", "W#1?"), ("Hüs", "Ø-1/2 50%"), ("<b>&", '4"')]


@pytest.fixture
def awkward(sqlite_database: Database, shop: Cast) -> list[int]:
    """Buildings and panels with every sign that an address needs to write differently."""
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        buildings = []
        for code, mark in AWKWARD:
            building = add_building(session, manager, code, code, NOW)
            add_panel(session, manager, building, roof_panel(mark), NOW)
            buildings.append(building.id)
    return buildings


def test_awkward_codes_and_marks_are_labelled_and_found_again(
    awkward: list[int], shop: Cast, signed_in: SignedIn, sqlite_database: Database
) -> None:
    worker = signed_in("worker")
    for building_id, (code, mark) in zip(awkward, AWKWARD, strict=True):
        (label,) = printed(worker.get(f"/building/{building_id}/labels"))
        answer = worker.client.get(label.read().removeprefix("http://localhost"))
        with sqlite_database.read() as session:
            building = find.building(session, shop.person(session, "worker"), building_id)
            assert building.code == code
            panel = find.panel_by_mark(session, building, mark)
            assert answer.location == f"/panel/{panel.id}"


@pytest.fixture
def at_the_fence(shop: Cast, signed_in: SignedIn) -> Browser:
    """A worker's tablet that stands at a station."""
    worker = signed_in("worker")
    with worker.client.session_transaction() as cookie:
        cookie["station"] = "sheathing_fence"
    return worker


def test_a_scanned_label_leads_to_the_panel_at_this_station(shop: Cast, at_the_fence: Browser) -> None:
    assert at_the_fence.client.get("/p/H1/R-01").location == f"/station/sheathing_fence/panel/{shop.panel}"
    assert "R-01" in at_the_fence.get(f"/station/sheathing_fence/panel/{shop.panel}")


def test_a_label_reads_in_capitals_or_not(shop: Cast, at_the_fence: Browser) -> None:
    assert at_the_fence.client.get("/p/h1/r-01").location.endswith(f"/panel/{shop.panel}")


def test_without_a_station_a_label_leads_to_the_panels_own_page(shop: Cast, signed_in: SignedIn) -> None:
    assert signed_in("worker").client.get("/p/H1/R-01").location == f"/panel/{shop.panel}"


def test_a_station_that_is_no_more_counts_as_none(shop: Cast, at_the_fence: Browser) -> None:
    with at_the_fence.client.session_transaction() as cookie:
        cookie["station"] = "gone"
    assert at_the_fence.client.get("/p/H1/R-01").location == f"/panel/{shop.panel}"


@pytest.mark.parametrize(
    ("path", "sentence"),
    [
        ("/p/H1/R-99", "There is no panel marked “R-99” in building H1."),
        ("/p/H9/R-01", "There is no building “H9” in this plant."),
        ("/p/R-01", "There is no building “R-01” in this plant."),
        ("/p/H1/", "There is no panel marked “” in building H1."),
    ],
)
def test_an_unknown_label_is_a_problem_in_one_sentence(signed_in: SignedIn, path: str, sentence: str) -> None:
    page = signed_in("worker").get(path, 404)
    assert "There is a problem" in page
    assert sentence in page


def test_a_label_scanned_before_sign_in_is_opened_after_it(app: Flask, shop: Cast) -> None:
    answer = app.test_client().get("/p/H1/R-01")
    assert answer.location == "/sign-in?next=/p/H1/R-01"


def test_a_building_links_to_its_labels(shop: Cast, signed_in: SignedIn) -> None:
    assert f'href="/building/{shop.building}/labels"' in signed_in("worker").get(f"/building/{shop.building}")
