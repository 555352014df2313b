"""What lets a tablet open the station's pages without a network, and from its home screen."""

import json
from pathlib import Path

from flask import Blueprint, Response, current_app, render_template, request, url_for
from flask.blueprints import BlueprintSetupState
from flask_babel import gettext as _

from qc_app.web.access import allow_anybody
from qc_app.web.build import build
from qc_app.web.language import LANGUAGES

pages = Blueprint("offline", __name__)

STATION_FILES = (
    "log.css",
    "mark.svg",
    "icon-*.png",
    "*.js",
    "tablet/**/*.css",
    "tablet/**/*.js",
    "measure/**/*.js",
    "vendor/jsqr.js",
)
"""Static files that the station's pages need; the desk's charts stay where they are."""

WORKERS = ("sw.js", "sw_leave.js")

PAPER = "#faf8f4"
"""The colour behind every page, as ``--paper`` in the style sheet."""


@pages.record_once
def _switch_on(state: BlueprintSetupState) -> None:
    """Pages are kept unless the program is told ``OFFLINE=False``: then tablets forget what they kept."""
    state.app.config.setdefault("OFFLINE", True)


@pages.get("/sw.js")
@allow_anybody()
def worker() -> Response:
    """The script that keeps pages on the tablet, with its build and the files to keep in front."""
    folder = Path(current_app.static_folder or "")
    if current_app.config["OFFLINE"]:
        script = _front() + (folder / "sw.js").read_text("utf-8")
    else:
        script = (folder / "sw_leave.js").read_text("utf-8")
    answer = Response(script, mimetype="text/javascript")
    # A browser that kept the script itself would never learn of a newer one.
    answer.headers["Cache-Control"] = "no-cache"
    return answer


@pages.get("/offline")
@allow_anybody()
def offline() -> str:
    """Stands in for a page that is not on the tablet."""
    return render_template("offline.html", title=_("This page is not on this tablet yet"))


@pages.get("/manifest.webmanifest")
@allow_anybody()
def manifest() -> Response:
    """What a tablet shows on its home screen, and where it starts (W3C, Web Application Manifest)."""
    facts = {
        "id": "/station",
        "name": _("Quality log"),
        "short_name": _("Quality log"),
        "start_url": _start(request.args.get("code", "")),
        "scope": "/",
        "display": "standalone",
        "background_color": PAPER,
        "theme_color": PAPER,
        "icons": [
            _icon("icon-192.png", 192, "any"),
            _icon("icon-512.png", 512, "any"),
            _icon("icon-maskable-512.png", 512, "maskable"),
        ],
    }
    answer = Response(json.dumps(facts, ensure_ascii=False), mimetype="application/manifest+json")
    answer.headers["Cache-Control"] = "no-cache"
    return answer


def _start(code: str) -> str:
    """The station; before a tablet is enrolled its enrolment.

    Some tablets give the icon a memory of its own, in which the code would be missing.
    """
    is_code = code.isascii() and code.replace("-", "").replace("_", "").isalnum()
    return url_for("tablet.ask", code=code) if is_code else "/station"


def _front() -> str:
    """The two lines that the worker cannot know by itself."""
    return f"const BUILD = {json.dumps(build(current_app))};\nconst FILES = {json.dumps(_files())};\n"


def _files() -> list[str]:
    folder = Path(current_app.static_folder or "")
    found = {file for pattern in STATION_FILES for file in folder.glob(pattern)}
    names = {file.relative_to(folder).as_posix() for file in found}.difference(WORKERS)
    files = [url_for("static", filename=name) for name in sorted(names)]
    offline_pages = [url_for("offline.offline", language=language) for language in LANGUAGES]
    return [*files, *offline_pages, url_for("offline.manifest")]


def _icon(name: str, side: int, purpose: str) -> dict[str, str]:
    address = url_for("static", filename=name)
    return {"src": address, "sizes": f"{side}x{side}", "type": "image/png", "purpose": purpose}
