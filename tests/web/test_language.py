"""English and Spanish: which one a page speaks, and that a worker's page in Spanish says no English."""

import json
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from html.parser import HTMLParser
from typing import Any

import pytest
from flask import Flask, g
from sqlalchemy import update

from qc_app.records.control_plan import ControlPlan
from qc_app.records.database import Database
from qc_app.records.shop import Plant
from qc_app.refusal import Refusal
from qc_app.web.language import LANGUAGES, say
from qc_app.web.plan_words import plan_word
from qc_app.web.show import local_time
from qc_app.work import find
from qc_app.work.setup import default_document
from qc_app.work.tablets import invite
from tests.conftest import NOW, Cast
from tests.translation.catalogue import parts, written
from tests.web.conftest import Browser, SignedIn
from tests.web.test_outbox import OnTablet, on_tablet  # noqa: F401 # a fixture
from tests.work.sent import Outbox, reading, readings

STATIONS = ("framing", "sheathing_fence", "services", "fill", "air_seal", "final")
SPOKEN = ("alt", "aria-label", "placeholder", "title", "data-title")
BLOCKS = ("page-words", "tablet-words", "outbox-words", "offline-words")


class Page(HTMLParser):
    """What somebody reads or hears of a page, and the blocks its scripts read."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.said: list[str] = []
        self.blocks: dict[str, Any] = {}
        self._within = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.said += [value for name, value in attributes if name in SPOKEN and value]
        if tag in ("script", "style"):
            self._within = dict(attributes).get("id") or tag

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._within = ""

    def handle_data(self, text: str) -> None:
        if self._within in BLOCKS or self._within in ("facts", "labels"):
            self.blocks[self._within] = json.loads(text)
        elif not self._within and text.strip():
            self.said.append(" ".join(text.split()))


def texts(block: Any) -> Iterator[str]:
    """Every text in a block of words, but not the keys."""
    if isinstance(block, str):
        yield block
    elif isinstance(block, dict):
        for value in block.values():
            yield from texts(value)


def english() -> list[re.Pattern[str]]:
    """What no page in Spanish may say: whole texts of one word, longer ones also within others."""
    known = {
        text: said
        for message in written()
        if message.id
        for text, said in zip(parts(message.id), parts(message.string), strict=True)
        if said
    }
    return [_pattern(text) for text, said in known.items() if said != text]


def of_the_plan(plan: str = default_document()) -> list[re.Pattern[str]]:
    """What the plan says in English, wherever it says it."""
    words = [text for text, _said in re.findall(r'^"([^"]+)" = "([^"]+)"$', plan, re.MULTILINE)]
    assert len(words) > 60
    return [re.compile(rf"\b{re.escape(text.rstrip('.'))}\b") for text in words]


def _pattern(text: str) -> re.Pattern[str]:
    literal = re.sub(r"%\\\(\w+\\\)s|\\\{\w+\\\}", ".+", re.escape(text))
    is_long = len(re.sub(r"%\(\w+\)s|\{\w+\}", "", text).split()) > 2
    return re.compile(literal if is_long else rf"^{literal}$")


RUN = "Deck, 2"
"""The run of a panel, named by the schedule as the plan names a kind."""

ENGLISH = [*english(), *of_the_plan()]


def spoken_in_english(page: str) -> list[str]:
    """What a page says in English though the Spanish is known."""
    shown = Page(page)
    said = [*shown.said, *(text for name in BLOCKS for text in texts(shown.blocks.get(name)))]
    return [text for text in said if any(pattern.search(text) for pattern in ENGLISH)]


@pytest.fixture
def worker(signed_in: SignedIn) -> Browser:
    return signed_in("worker")


def test_the_search_for_english_finds_it(worker: Browser, shop: Cast) -> None:
    found = spoken_in_english(worker.get(f"/station/services/panel/{shop.panel}?language=en"))
    assert {"Panels", "Save", "Closed roof panel, Services", "Wood moisture before closing,"} <= {*found}
    assert len(found) > 150


@pytest.mark.parametrize("station", STATIONS)
def test_a_panels_page_at_each_station_speaks_spanish(station: str, worker: Browser, shop: Cast) -> None:
    page = worker.get(f"/station/{station}/panel/{shop.panel}?language=es")
    assert '<html lang="es">' in page
    assert spoken_in_english(page) == []


@pytest.mark.parametrize("station", STATIONS)
def test_the_list_of_what_waits_speaks_spanish(station: str, worker: Browser) -> None:
    assert spoken_in_english(worker.get(f"/station/{station}?language=es")) == []


@pytest.mark.parametrize(
    "path", ["/station?change=&", "/lot?", "/outbox?", "/offline?", "/pin?", "/station/nowhere?", "/nowhere?"]
)
def test_the_other_pages_of_a_worker_speak_spanish(path: str, worker: Browser) -> None:
    page = worker.client.get(f"{path}language=es").get_data(as_text=True)
    assert '<html lang="es">' in page
    assert spoken_in_english(page) == []


def test_a_lots_page_and_the_labels_speak_spanish(worker: Browser, shop: Cast) -> None:
    assert spoken_in_english(worker.get(f"/station/framing/lot/{shop.lot}?language=es")) == []
    assert spoken_in_english(worker.get(f"/building/{shop.building}/labels?language=es")) == []


@pytest.mark.parametrize(
    "path",
    [
        "/chart",
        "/chart/station/framing",
        "/building",
        "/building/1",
        "/panel/1",
        "/person",
        "/instrument",
        "/tablets",
        "/notices",
        "/outbox/file",
    ],
)
def test_the_desk_speaks_spanish_as_well(path: str, signed_in: SignedIn) -> None:
    answer = signed_in("manager").client.get(f"{path}?language=es")
    assert answer.status_code == 200
    assert spoken_in_english(answer.get_data(as_text=True)) in ([], [RUN])


def test_signing_in_and_enrolling_speak_spanish(app: Flask, sqlite_database: Database, shop: Cast) -> None:
    with sqlite_database.write() as session:
        manager = shop.person(session, "manager")
        _tablet, code = invite(session, manager, "Mesa", find.station(session, manager, "fill"), 104, NOW)
    client = app.test_client()
    for path in ("/sign-in?language=es", f"/tablet/enrol?language=es&code={code}"):
        assert spoken_in_english(client.get(path).get_data(as_text=True)) == []


def test_the_page_goes_before_the_person_and_the_person_before_the_browser(
    app: Flask, sqlite_database: Database, worker: Browser, shop: Cast
) -> None:
    def language(path: str) -> str:
        page = worker.client.get(path, headers={"Accept-Language": "es"}).get_data(as_text=True)
        found = re.search(r'<html lang="(\w+)">', page)
        assert found is not None
        return found[1]

    assert language("/station") == "es"
    with sqlite_database.write() as session:
        shop.person(session, "worker").language = "en"
    assert language("/station") == "en"
    assert language("/station?language=es") == "es"
    assert language("/station?language=xx") == "en"


def test_whoever_is_signed_in_chooses_a_language_and_sees_the_same_page_in_it(
    worker: Browser, sqlite_database: Database, shop: Cast
) -> None:
    page = worker.get("/station?change=")
    assert 'lang="es" aria-pressed="false">Español</button>' in page
    choice = {"language": "es", "next": "/station?change=&language=en"}
    assert worker.post("/language", choice, page="/station?change=") == "/station?change="
    assert "¿Qué estación es esta?" in worker.get("/station?change=")
    with sqlite_database.read() as session:
        assert shop.person(session, "worker").language == "es"


@pytest.mark.parametrize("given", ["https://elsewhere.example/", "//elsewhere.example/", ""])
def test_choosing_a_language_leads_nowhere_else(worker: Browser, given: str) -> None:
    assert worker.post("/language", {"language": "es", "next": given}, page="/station") == "/"


def test_only_the_languages_there_are_can_be_chosen(worker: Browser) -> None:
    worker.post("/language", {"language": "xx"}, page="/station", status=400)


def test_the_station_pages_hold_no_choice_that_would_be_kept_with_them(worker: Browser) -> None:
    assert "/language" not in worker.get("/station/framing")


def test_checks_are_named_in_spanish_for_the_scripts_but_places_stay_as_they_are_stored(
    worker: Browser, shop: Cast
) -> None:
    facts = Page(worker.get(f"/station/services/panel/{shop.panel}?language=es")).blocks["facts"]
    moisture = [check for step in facts["steps"] for check in step if check["method"] == "meter"]
    assert [(check["name"], check["place"]) for check in moisture] == [
        ("Humedad de la madera antes de cerrar, solera", "sill"),
        ("Humedad de la madera antes de cerrar, montante", "stud"),
    ]


def test_a_bay_is_named_in_spanish_and_stored_in_english(worker: Browser, shop: Cast) -> None:
    facts = Page(worker.get(f"/station/fill/panel/{shop.panel}?language=es")).blocks["facts"]
    fill = facts["steps"][0][0]
    assert (fill["name"], fill["place"]) == ("Relleno de la cavidad, cavidad 1", "bay 1")


def test_the_tablets_own_measuring_says_no_in_spanish(worker: Browser, shop: Cast) -> None:
    page = Page(worker.get(f"/station/sheathing_fence/panel/{shop.panel}?language=es"))
    sentences = page.blocks["page-words"]["sentences"]
    assert sentences["“{given}” has a sign. A measured length has none."] == (
        "“{given}” lleva signo. Una medida tomada no lleva ninguno."
    )
    assert sentences["one inch"] == "una pulgada"
    assert sentences["bore of the core"] == "diámetro de la muestra"
    assert Page(worker.get(f"/station/fill/panel/{shop.panel}")).blocks["page-words"]["sentences"] == {}


def test_numbers_are_written_as_the_shop_writes_them_in_both_languages(worker: Browser, shop: Cast) -> None:
    numbers = {}
    for language in LANGUAGES:
        page = worker.get(f"/station/fill/panel/{shop.panel}?language={language}")
        numbers[language] = re.findall(r"\d+[.,/′″' \d]*", " ".join(re.findall(r"<dd>(.*?)</dd>", page)))
    assert numbers["en"] == numbers["es"]
    assert any("." in number for number in numbers["es"])


def test_months_are_named_in_the_language_of_the_page(
    app: Flask, shop: Cast, sqlite_database: Database
) -> None:
    moment = datetime(2026, 8, 2, 14, 5, tzinfo=UTC)
    with sqlite_database.read() as session:
        plant = session.get_one(Plant, 1)
        with app.test_request_context("/?language=en"):
            assert local_time(moment, plant) == "02 Aug 2026, 10:05"
        with app.test_request_context("/?language=es"):
            assert local_time(moment, plant) == "02 ago 2026, 10:05"


def test_an_answer_to_the_outbox_is_in_the_language_of_the_page_that_sent_it(
    on_tablet: OnTablet,  # noqa: F811 # the fixture
    shop: Cast,
) -> None:
    outbox = Outbox(shop)
    entry = outbox.entry(readings(shop, reading(length="24' 1/8")))
    headers = {"X-CSRFToken": on_tablet.hello()["csrf"], "Accept-Language": "es"}
    answer = on_tablet.client.post("/outbox", json=outbox.batch(entry), headers=headers).get_json()
    assert answer["answers"][0]["readings"][0]["sentence"] == 'Fuera: +1/8" del objetivo.'


def test_what_a_refusal_is_about_is_said_in_spanish_too(app: Flask, signed_in: SignedIn) -> None:
    refusal = Refusal(
        "{name} needs to say which {instrument} was used.", name="Length of edge", instrument="core cutter"
    )
    with app.test_request_context("/?language=es"):
        g.plan_words = {"es": {"Length of edge": "Largo del borde"}}
        assert say(refusal) == "Largo del borde: hay que decir qué se usó (cortador de muestras)."


def test_what_was_typed_is_never_translated(app: Flask, shop: Cast) -> None:
    with app.test_request_context("/?language=es"):
        assert "“outside”" in say(Refusal("Answer yes or no. Given: “{given}”.", given="outside"))


def test_words_that_the_plan_does_not_translate_stay_as_it_writes_them(app: Flask, shop: Cast) -> None:
    with app.test_request_context("/?language=es"):
        assert plan_word("Straightness of ridge") == "Straightness of ridge"
        assert plan_word("bay 3") == "cavidad 3"
        assert plan_word("outer face, 4 in, odd sleeve") == "cara exterior, 4 in, odd sleeve"
        assert plan_word("") == ""


def test_a_plan_without_translations_is_shown_as_it_is_written(
    worker: Browser, shop: Cast, sqlite_database: Database
) -> None:
    without = default_document().partition("[translation.es]")[0]
    with sqlite_database.engine.begin() as connection:
        connection.execute(update(ControlPlan).values(document=without))
    page = worker.get("/station/framing?language=es")
    assert "<strong>Framing</strong>" in page
    assert "2 paneles esperan aquí" in page
