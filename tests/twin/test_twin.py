"""A tablet without network gives the verdict that the server will give."""

import json
import math
from concurrent.futures import ThreadPoolExecutor
from itertools import product
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Route, sync_playwright

from qc_app.measure.quadrilateral.slips import TAPE_SLIPS
from qc_app.plan.method import METHODS
from tests.browser.conftest import FLAGS, chromium
from tests.twin.case import Case
from tests.twin.make_vectors import PARTS, VECTORS, answer, cases, text_of

ROOT = Path(__file__).parents[2]
SITE = "http://tablet.invalid"
NEAR = 1e-9

MAKE = "run `python -m tests.twin.make_vectors` and see that the tablet's modules follow"

COMPARE = f"""
async (vectors) => (await import("{SITE}/tests/twin/compare.js")).compare(JSON.parse(vectors))
"""


@pytest.fixture(scope="module")
def vectors() -> dict[str, list[Case]]:
    """The committed cases with their answers, by part."""
    found: dict[str, list[Case]] = json.loads(VECTORS.read_text(encoding="ascii"))
    return found


def test_the_cases_are_those_that_are_generated(vectors: dict[str, list[Case]]) -> None:
    given = {part: [_without_answer(case) for case in some] for part, some in vectors.items()}
    assert given == json.loads(text_of(cases())), MAKE


@pytest.mark.parametrize("part", PARTS)
def test_the_server_still_answers_as_the_vectors_say(part: str, vectors: dict[str, list[Case]]) -> None:
    given = [_without_answer(case) for case in vectors[part]]
    answers = json.loads(text_of({part: [answer(part, case) for case in given]}))[part]
    differing = [
        (case, now)
        for case, now in zip(vectors[part], answers, strict=True)
        if not _agrees(case["answer"], now)
    ]
    assert not differing, MAKE


@pytest.mark.parametrize(
    ("part", "answered", "refused"),
    [
        ("entries", 400, 300),
        ("prints", 250, 4),
        ("verdicts", 300, 8),
        ("panels", 170, 40),
        ("amounts", 100, 300),
        ("shown", 500, 0),
        ("methods", 450, 300),
    ],
)
def test_every_part_has_many_cases_of_both_kinds(
    part: str, answered: int, refused: int, vectors: dict[str, list[Case]]
) -> None:
    refusals = sum("sentence" in case["answer"] for case in vectors[part])
    assert refusals >= refused
    assert len(vectors[part]) - refusals >= answered


def test_no_panel_is_so_near_the_edge_of_consistency_that_rounding_decides(
    vectors: dict[str, list[Case]],
) -> None:
    answers = [case["answer"] for case in vectors["panels"] if "misclosure" in case["answer"]]
    assert {found["is_consistent"] for found in answers} == {True, False}
    for found in answers:
        ratio = abs(found["misclosure"]) / found["misclosure_uncertainty"]
        assert not math.isclose(ratio, 2.5758293, rel_tol=1e-6)


def test_the_panels_show_every_slip_and_both_ways_of_squaring(vectors: dict[str, list[Case]]) -> None:
    answers = [case["answer"] for case in vectors["panels"] if "misclosure" in case["answer"]]
    slips = {found["suspects"][0]["slip"] for found in answers if found["suspects"]}
    assert {slip.name for slips_of in TAPE_SLIPS.values() for slip in slips_of} <= slips
    assert {"the same diagonal entered twice", "sixteenths counted from the wrong inch mark", None} <= slips
    assert {found["squaring_move"]["corner"] for found in answers if found["squaring_move"]} == {"C", "D"}


def test_every_method_is_seen_with_every_verdict_it_can_have(vectors: dict[str, list[Case]]) -> None:
    seen = {(case["method"], case["answer"].get("verdict")) for case in vectors["methods"]}
    wanted = set(product(METHODS, ("within", "outside", "unclear"))) - {("check", "unclear")}
    assert wanted <= seen


@pytest.mark.browser
def test_a_tablet_answers_every_case_as_the_server_does(vectors: dict[str, list[Case]]) -> None:
    found = _in_browser(VECTORS.read_text(encoding="ascii"))
    assert found["count"] == sum(map(len, vectors.values()))
    assert not found["differences"], "\n".join(found["differences"])


@pytest.mark.browser
def test_a_wrong_answer_would_be_seen(vectors: dict[str, list[Case]]) -> None:
    first = {part: some[:1] for part, some in vectors.items()}
    spoilt = json.loads(json.dumps(first))
    spoilt["entries"][0]["answer"]["nanometres"] += "0"
    spoilt["prints"][0]["answer"]["deviation"] += " "
    spoilt["verdicts"][0]["answer"]["verdict"] = "perhaps"
    spoilt["panels"][0]["answer"]["corners"]["C"][1] += 2 * NEAR
    spoilt["amounts"][0]["answer"]["bottom"] = "2"
    spoilt["shown"][0]["answer"]["derived"] += "0"
    spoilt["methods"][0]["answer"]["verdict"] = "unclear"
    found = _in_browser(json.dumps(spoilt))
    assert [difference.partition(":")[0] for difference in found["differences"]] == list(PARTS)


def _in_browser(vectors: str) -> dict[str, Any]:
    # in a thread of its own: Playwright allows one loop in each, and other browser tests may hold this one's
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(_compared, chromium(), vectors).result()


def _compared(program: str, vectors: str) -> dict[str, Any]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(FLAGS))
        page = browser.new_page()
        page.route(f"{SITE}/**", _serve)
        page.goto(f"{SITE}/")
        found: dict[str, Any] = page.evaluate(COMPARE, vectors)
        browser.close()
        return found


def _serve(route: Route) -> None:
    """The files of the repository, without a server; an empty page where none is named."""
    path = urlsplit(route.request.url).path.lstrip("/")
    if path.endswith(".js"):
        route.fulfill(content_type="text/javascript", body=(ROOT / path).read_text(encoding="utf-8"))
    else:
        route.fulfill(content_type="text/html", body="<!doctype html><title>Tablet</title>")


def _without_answer(case: Case) -> Case:
    return {name: value for name, value in case.items() if name != "answer"}


def _agrees(expected: object, found: object) -> bool:
    """Equal, floats nearly: processors sum them in different orders."""
    if isinstance(expected, dict) and isinstance(found, dict):
        return expected.keys() == found.keys() and all(
            _agrees(expected[name], found[name]) for name in expected
        )
    if isinstance(expected, list) and isinstance(found, list):
        return len(expected) == len(found) and all(map(_agrees, expected, found))
    if isinstance(expected, float) and isinstance(found, float):
        return math.isclose(expected, found, rel_tol=0, abs_tol=NEAR)
    return expected == found
