"""Pages name every script they will need, so that a slow network is asked once."""

import re

from flask import Flask

from qc_app.web.modules import modules_of
from tests.conftest import Cast
from tests.web.conftest import SignedIn


def test_scripts_are_followed_to_the_last(app: Flask, shop: Cast) -> None:
    with app.test_request_context():
        modules = modules_of("tablet/page.js")
    assert {"tablet/step.js", "measure/length.js", "measure/method/core.js", "tablet/store.js"} <= set(
        modules
    )
    # Fetched only when a fault is marked.
    assert "tablet/fault_marks.js" not in modules


def test_an_entry_page_asks_for_all_its_scripts_at_once(signed_in: SignedIn, app: Flask, shop: Cast) -> None:
    page = signed_in("worker").get(f"/station/framing/panel/{shop.panel}")
    preloaded = re.findall(r'<link rel="modulepreload" href="/static/[0-9a-f]+/([^"]+)">', page)
    with app.test_request_context():
        assert preloaded == list(modules_of("tablet/page.js"))
