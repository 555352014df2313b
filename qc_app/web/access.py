"""Who may use a page. Every view says so; one that does not is closed to all."""

from collections.abc import Callable
from typing import Any, TypeVar

from flask import Flask, abort, current_app, redirect, request, url_for
from werkzeug.wrappers import Response

from qc_app.web.request import admit, keep_awake, reading_session, signed_in, tablet
from qc_app.web.spoken import speaks_json
from qc_app.work.roles import Act, may
from qc_app.work.setup import is_set_up

View = TypeVar("View", bound=Callable[..., Any])

ANYBODY = "anybody"
"""Marks a page that needs no sign-in."""

_MARK = "may_be_used_for"
_TABLETS = "may_be_used_by_tablets"
_POLLED = "asked_for_by_a_script"


def allow(act: Act, *, tablets: bool = False, polled: bool = False) -> Callable[[View], View]:
    """Opens a view to those whose role may do the act; with ``tablets`` to enrolled tablets as well.

    One that is ``polled`` by a page's script shows nobody's presence, so it does not put off the end of a
    sign-in.
    """
    return _marked(act, tablets, polled)


def allow_anybody() -> Callable[[View], View]:
    """Opens a view to everybody, signed in or not."""
    return _marked(ANYBODY)


def allowed_act(endpoint: str) -> Act | str | None:
    """What a view was opened for: an act, ``ANYBODY``, or None if it never said."""
    if endpoint == "static":
        return ANYBODY
    return getattr(current_app.view_functions[endpoint], _MARK, None)


def is_open_to_tablets(endpoint: str) -> bool:
    """Whether an enrolled tablet may open a view without anybody signed in."""
    return getattr(current_app.view_functions[endpoint], _TABLETS, False)


def install(app: Flask) -> None:
    """Checks every request before its view runs."""
    app.before_request(_check)


def _marked(mark: Act | str, tablets: bool = False, polled: bool = False) -> Callable[[View], View]:
    def mark_view(view: View) -> View:
        setattr(view, _MARK, mark)
        setattr(view, _TABLETS, tablets)
        setattr(view, _POLLED, polled)
        return view

    return mark_view


def _check() -> Response | None:
    if request.endpoint is None:
        return None
    if request.method not in ("GET", "HEAD") and request.headers.get("Sec-Fetch-Site") == "cross-site":
        abort(403)
    if any("\0" in text for text in (request.full_path, *request.values.values())):
        abort(400)
    act = allowed_act(request.endpoint)
    if act == ANYBODY:
        return None
    if not is_set_up(reading_session()):
        return redirect(url_for("setup.set_up"))
    enrolled = tablet() if is_open_to_tablets(request.endpoint) else None
    if enrolled is not None:
        admit(enrolled)
        return None
    person = signed_in()
    if person is None:
        if speaks_json():
            abort(401)
        return redirect(url_for("sign_in.sign_in", next=request.full_path.rstrip("?")))
    if not isinstance(act, Act) or not may(person, act):
        abort(403)
    if not getattr(current_app.view_functions[request.endpoint], _POLLED, False):
        keep_awake()
    return None
