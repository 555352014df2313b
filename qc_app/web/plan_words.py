"""The words of the control plan in the language of the page.

A plan may translate what it says itself: names, how to measure, cautions, places. What it leaves out, such as
the faces of a penetration, is looked up among the program's own words.
"""

from collections.abc import Mapping
from typing import cast

from flask import g
from flask_babel import get_locale, gettext

from qc_app.phrase import phrase
from qc_app.web.request import now, reading_session, signed_in, tablet
from qc_app.work.setup import plan_in_force

NUMBERED_PLACES = {
    "bay": phrase("bay {number}"),
    "connector": phrase("connector {number}"),
    "member": phrase("member {number}"),
    "penetration": phrase("penetration {number}"),
}
"""Places that the panel itself has, and the words for them."""


def plan_word(text: str) -> str:
    """A text of the plan in the language of the page; as the plan writes it where no translation is known.

    A list with commas, such as ``outer face, 4 in``, is translated part by part where it is not known whole.
    """
    known = _translated(text)
    if known is None and ", " in text:
        return ", ".join(plan_word(part) for part in text.split(", "))
    return text if known is None else known


def _translated(text: str) -> str | None:
    own = _own_words().get(text)
    if own is not None or not text:
        return own
    word, _space, number = text.partition(" ")
    if number and word in NUMBERED_PLACES:
        return gettext(NUMBERED_PLACES[word]).format(number=number)
    translated = gettext(text)
    return translated if translated != text else None


def _own_words() -> Mapping[str, str]:
    """What the plan in force says in the language of the page; nothing where nobody is known."""
    language = str(get_locale())
    if "plan_words" not in g:
        there = signed_in() or tablet()
        plan = plan_in_force(reading_session(), there.plant, now()).plan if there else None
        g.plan_words = plan.translations if plan else {}
    return cast(Mapping[str, Mapping[str, str]], g.plan_words).get(language, {})
