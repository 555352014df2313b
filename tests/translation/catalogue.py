"""The words of pages and their translations: collected from code and templates, and compiled.

``python -m tests.translation.catalogue`` brings the catalogue up to date with what the program says: new
words are added without a translation, and what nobody says any more is dropped.
"""

import importlib
import pkgutil
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import DEFAULT_KEYWORDS, extract_from_dir
from babel.messages.frontend import parse_mapping_cfg
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

import qc_app
from qc_app.refusal import Refusal

REPOSITORY = Path(__file__).parents[2]
SPANISH = REPOSITORY / "qc_app" / "translations" / "es" / "LC_MESSAGES" / "messages.po"

MARKING = dict.fromkeys(("_l", "phrase", "Slip", "_Explanation"))
"""What marks its first argument for translation, beside the usual functions and every refusal."""

NAMING = dict.fromkeys(("exact", "positive_inches", "positive_grams"), (2,))
"""What names a quantity in its second argument, for the sentence that refuses it."""


def written() -> Catalog:
    """The Spanish catalogue as translators write it."""
    with SPANISH.open("rb") as file:
        return read_po(file, locale="es")


def collected() -> Catalog:
    """Every word that code and templates mark for translation."""
    with (REPOSITORY / ".babel.cfg").open(encoding="utf-8") as file:
        methods, options = parse_mapping_cfg(file)  # type: ignore[no-untyped-call]
    found = Catalog()
    keywords = {**DEFAULT_KEYWORDS, **MARKING, **NAMING, **dict.fromkeys(_refusals())}
    for passes_on in ("CellRefused", "EntryRefused"):  # they take their sentence from another refusal
        del keywords[passes_on]
    for place, line, words, _comments, _context in extract_from_dir(
        REPOSITORY, methods, options, keywords, strip_comment_tags=True
    ):
        found.add(words, locations=[(Path(place).as_posix(), line)])
    return found


def write(catalogue: Catalog) -> None:
    """Writes a catalogue for translators, and compiled for the program."""
    catalogue.msgid_bugs_address = catalogue.last_translator = ""
    assert isinstance(catalogue.revision_date, datetime)
    catalogue.creation_date = catalogue.revision_date  # so that the files change only where words do
    with SPANISH.open("wb") as file:
        write_po(file, catalogue, width=110, ignore_obsolete=True, include_lineno=False)
    with SPANISH.with_suffix(".mo").open("wb") as file:
        write_mo(file, written())


def parts(words: object) -> tuple[str, ...]:
    """A word or sentence, or its forms for one and for many."""
    return (words,) if isinstance(words, str) else tuple(words)  # type: ignore[arg-type]


def _refusals() -> Iterator[str]:
    """The names of all classes whose first argument is a refusal's sentence."""
    for module in pkgutil.walk_packages(qc_app.__path__, "qc_app."):
        if ".migrations" not in module.name:
            importlib.import_module(module.name)
    waiting = [Refusal]
    while waiting:
        refusal = waiting.pop()
        waiting += refusal.__subclasses__()
        if refusal.__module__.startswith("qc_app."):
            yield refusal.__name__


def main() -> None:
    catalogue = written()
    catalogue.update(collected(), no_fuzzy_matching=True)
    write(catalogue)


if __name__ == "__main__":
    main()
