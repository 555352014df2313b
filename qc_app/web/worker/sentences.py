"""What the tablet's own measuring says, for pages in another language than English.

The sentences are the server's refusals word for word, since both follow the same rules.
"""

import re
from functools import cache
from pathlib import Path

from flask import current_app
from flask_babel import get_locale, gettext

_TEXT = re.compile(r'"((?:[^"\\\n]|\\.)*)"')
_IMPORT = re.compile(r"^import .*$|^} from .*$", re.MULTILINE)


def tablet_sentences() -> dict[str, str]:
    """English sentences with their translation; nothing where the page is in English."""
    if str(get_locale()) == "en":
        return {}
    told = {sentence: gettext(sentence) for sentence in _sentences(Path(current_app.static_folder or ""))}
    return {sentence: translated for sentence, translated in told.items() if translated != sentence}


@cache
def _sentences(static: Path) -> tuple[str, ...]:
    """Every text in the measuring scripts, keys among them."""
    found: dict[str, None] = {}
    for file in sorted((static / "measure").rglob("*.js")):
        for text in _TEXT.findall(_IMPORT.sub("", file.read_text("utf-8"))):
            if text:
                found[text.replace('\\"', '"')] = None
    return tuple(found)
