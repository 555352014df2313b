"""Back to the page that a form was opened from."""

from urllib.parse import urlsplit

from flask import url_for


def way_back(given: str) -> str:
    """The page that a form names to go on to, if it is one of ours; else the start."""
    parts = urlsplit(given)
    is_ours = given.startswith("/") and not given.startswith(("//", "/\\")) and not parts.netloc
    return given if is_ours else url_for("sign_in.home")
