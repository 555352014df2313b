"""Which scripts a page's script imports, so that a browser can ask for all of them at once."""

import re
from functools import cache
from pathlib import Path

from flask import Flask, current_app

_IMPORT = re.compile(r'^(?:import|export)\b[^;"]*"(\.{1,2}/[^"]+)"', re.MULTILINE)


def install(app: Flask) -> None:
    """Gives templates ``modules_of`` by name."""
    app.jinja_env.globals["modules_of"] = modules_of


def modules_of(name: str) -> tuple[str, ...]:
    """The static files that a script imports, and those that these import; not the script itself."""
    return _imported(Path(current_app.static_folder or ""), name)


@cache
def _imported(static: Path, name: str) -> tuple[str, ...]:
    found: dict[Path, None] = {}
    waiting = [static / name] if name else []
    while waiting:
        script = waiting.pop()
        for imported in _IMPORT.findall(script.read_text("utf-8")):
            path = (script.parent / imported).resolve()
            if path not in found:
                found[path] = None
                waiting.append(path)
    return tuple(sorted(path.relative_to(static.resolve()).as_posix() for path in found))
