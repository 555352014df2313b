"""The Spanish catalogue: complete for workers, with every place for a fact, and compiled as it is written."""

import re
from collections import Counter
from string import Formatter

import pytest
from babel.messages.catalog import Message
from babel.messages.mofile import read_mo

from tests.translation.catalogue import REPOSITORY, SPANISH, collected, parts, written

DESK = (
    "qc_app/assembly/",
    "qc_app/cli.py",
    "qc_app/measure/budget.py",
    "qc_app/measure/limits.py",
    "qc_app/measure/probability.py",
    "qc_app/measure/risk.py",
    "qc_app/measure/shrinkage.py",
    "qc_app/measure/tape.py",
    "qc_app/packet/",
    "qc_app/plan/consistency.py",
    "qc_app/plan/document.py",
    "qc_app/plan/edit.py",
    "qc_app/plan/problems/",
    "qc_app/records/",
    "qc_app/serve/",
    "qc_app/spc/",
    "qc_app/web/everyone/trust.py",
    "qc_app/work/cell.py",
    "qc_app/work/export.py",
    "qc_app/work/readings_file.py",
    "qc_app/work/schedule_file.py",
    "qc_app/work/sheet.py",
    "qc_app/work/shop_names.py",
    "qc_app/work/uploads.py",
    "qc_app/work/workbook.py",
    "templates/trust.html",
    "templates/trust_why.html",
)
"""Where words stand that only imports, studies and the terminal say; a new page counts until named here."""

PLACE = re.compile(r"%\(\w+\)[a-z]")


def is_a_workers(message: Message) -> bool:
    return any(not place.startswith(DESK) for place, _line in message.locations)


def places(text: str) -> Counter[str]:
    """The places for facts in a sentence."""
    if PLACE.search(text):
        return Counter(PLACE.findall(text))
    return Counter(name for _text, name, _format, _conversion in Formatter().parse(text) if name is not None)


@pytest.fixture(scope="module")
def translated() -> list[Message]:
    """Every message with a translation."""
    return [message for message in written() if message.id and all(parts(message.string))]


def test_every_word_of_a_workers_page_is_translated() -> None:
    catalogue = written()
    wanted = [message for message in collected() if message.id and is_a_workers(message)]
    found = [catalogue.get(parts(message.id)[0]) for message in wanted]
    missing = [
        message.id
        for message, entry in zip(wanted, found, strict=True)
        if entry is None or entry.id != message.id or not all(parts(entry.string))
    ]
    assert missing == []
    assert len(wanted) > 500


@pytest.mark.parametrize(
    "words",
    [
        "No length was entered. Write one such as 27' 11 3/16\" or 8514 mm.",  # a refusal of its own kind
        "The reading that this one corrects has not come yet.",  # the same, in work
        "sixteenths counted from the wrong inch mark",  # a slip
        "bore of the core",  # a quantity named in a refusal
        "Enter 4 to 8 digits.",  # said later than it is defined
        "outer face",  # a phrase
        ("%(num)s panel waits here", "%(num)s panels wait here"),  # one and many
    ],
)
def test_words_are_collected_however_they_are_marked(words: str | tuple[str, str]) -> None:
    assert words in {message.id for message in collected()}


def test_a_translation_has_the_places_for_facts_of_its_sentence(translated: list[Message]) -> None:
    different = [
        (english, spanish)
        for message in translated
        for english, spanish in zip(parts(message.id), parts(message.string), strict=True)
        if places(english) != places(spanish)
    ]
    assert different == []


def test_a_translation_ends_as_its_sentence_does(translated: list[Message]) -> None:
    ends = (".", "?", ":", "!", "…")
    different = [
        message.id
        for message in translated
        for english, spanish in zip(parts(message.id), parts(message.string), strict=True)
        if [english.endswith(end) for end in ends] != [spanish.endswith(end) for end in ends]
    ]
    assert different == []


def test_nothing_says_you_familiarly(translated: list[Message]) -> None:
    familiar = re.compile(r"\b(tú|tu|tus|tuyo|ti|contigo|puedes|tienes|debes|quieres)\b", re.IGNORECASE)
    assert [m.string for m in translated if any(map(familiar.search, parts(m.string)))] == []


def test_the_compiled_catalogue_says_what_the_written_one_says(translated: list[Message]) -> None:
    with SPANISH.with_suffix(".mo").open("rb") as file:
        compiled = {parts(message.id): parts(message.string) for message in read_mo(file) if message.id}
    # Forms for one and for many that have no translation are compiled as they are.
    said = {english: spanish for english, spanish in compiled.items() if english != spanish}
    wanted = {parts(message.id): parts(message.string) for message in translated}
    assert said == {english: spanish for english, spanish in wanted.items() if english != spanish}


def test_the_catalogue_lies_in_the_package_so_that_the_wheel_holds_it() -> None:
    assert SPANISH.with_suffix(".mo").is_relative_to(REPOSITORY / "qc_app")
