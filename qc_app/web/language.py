"""Words for people, in their language."""

from typing import Any

from flask import Flask, has_request_context, request
from flask_babel import Babel, get_locale, gettext

from qc_app.refusal import Refusal
from qc_app.web.plan_words import plan_word
from qc_app.web.request import signed_in
from qc_app.web.spoken import speaks_json
from qc_app.work.outbox.answer import Sentence

LANGUAGE_NAMES = {"en": "English", "es": "Español"}
"""The languages of pages, each in its own words."""

LANGUAGES = tuple(LANGUAGE_NAMES)

WORDED = ("act", "instrument", "kind", "name", "place", "said", "station", "verdict", "what")
"""Facts of a refusal that are words of the program or of the control plan, and not what somebody typed."""

CARRIED_TO = ("station.", "tablet.", "lots.", "outbox_page.", "instrument_check.")
"""Pages that are the same for everybody, so that their address says the language."""


def install(app: Flask) -> None:
    """Chooses the language of each request: of its address, of who is signed in, or of the browser."""
    app.config["BABEL_DEFAULT_LOCALE"] = "en"
    Babel(app, locale_selector=_wanted)
    app.url_defaults(_carry)
    app.jinja_env.globals.update(say=say, said=said, get_locale=get_locale, language_names=LANGUAGE_NAMES)


def say(refusal: Refusal) -> str:
    """A refusal's sentence in the language of the request."""
    facts = {key: plan_word(str(fact)) if key in WORDED else fact for key, fact in refusal.facts.items()}
    return gettext(refusal.sentence).format(**facts)


def said(sentence: Sentence) -> str:
    """A sentence that follows from the record, in the language of the request."""
    return say(Refusal(sentence.words, **sentence.facts))


def _wanted() -> str:
    # A page's own scripts ask in the language of the page, whoever is signed in.
    somebody = None if speaks_json() else signed_in()
    spoken = (_of_address(), somebody.language if somebody else None)
    return next((s for s in spoken if s in LANGUAGES), None) or (
        request.accept_languages.best_match(LANGUAGES) or "en"
    )


def _carry(endpoint: str, values: dict[str, Any]) -> None:
    """Takes the language of this address on to every link between such pages."""
    language = _of_address() if has_request_context() else None
    if language is not None and endpoint.startswith(CARRIED_TO):
        values.setdefault("language", language)


def _of_address() -> str | None:
    given = request.args.get("language")
    return given if given in LANGUAGES else None
