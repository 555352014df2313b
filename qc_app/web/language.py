"""Words for people, in their language."""

from flask import Flask, request
from flask_babel import Babel, get_locale, gettext

from qc_app.refusal import Refusal

LANGUAGES = ("en",)


def install(app: Flask) -> None:
    """Chooses the language of each request from what the browser asks for."""
    app.config["BABEL_DEFAULT_LOCALE"] = "en"
    Babel(app, locale_selector=lambda: request.accept_languages.best_match(LANGUAGES) or "en")
    app.jinja_env.globals.update(say=say, get_locale=get_locale)


def say(refusal: Refusal) -> str:
    """A refusal's sentence in the language of the request."""
    return gettext(refusal.sentence).format(**refusal.facts)
