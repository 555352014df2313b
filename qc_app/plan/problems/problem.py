"""One thing wrong with a control plan, and the small checks that find such."""

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from typing import Any

from qc_app.plan import document as written
from qc_app.plan.edit import Path
from qc_app.refusal import Refusal, shortened

Table = Mapping[str, Any]


class Problem(Refusal):
    """One thing wrong with a control plan.

    ``path`` leads to the field, ``("characteristic", 4, "limits", "upper")``; ``rule`` names what is broken;
    ``subject`` is the name of the characteristic or station, empty where it is of the plan as a whole;
    ``line`` counts from 1 and is None where it is not known.
    """

    def __init__(
        self, refusal: Refusal, path: Path, rule: str, subject: str = "", line: int | None = None
    ) -> None:
        super().__init__(refusal.sentence, about=refusal.about, **refusal.facts)
        self.path = path
        self.rule = rule
        self.subject = subject
        self.line = line

    @property
    def field(self) -> str:
        """The field as the document names it, such as ``limits.upper``; empty for the plan as a whole."""
        start = 2 if len(self.path) > 1 and self.path[0] in ("characteristic", "station", "kind") else 0
        return ".".join(str(step) for step in self.path[start:])


def refused(check: Callable[[], object], path: Path, rule: str, subject: str = "") -> Iterator[Problem]:
    try:
        check()
    except Refusal as said:
        yield Problem(said, path, rule, subject)
    except (TypeError, AttributeError) as error:
        refusal = Refusal("The value of {key} is of another kind. Given: {given}.", key=path[-1], given=error)
        yield Problem(refusal, path, "kind", subject)


def unknown_keys(table: Any, what: str, path: Path, subject: str) -> Iterator[Problem]:
    if not isinstance(table, Mapping):
        yield from refused(lambda: written.check_keys(table, what), path, "table", subject)
        return
    for key, value in table.items():
        one = {key: value}
        yield from refused(partial(written.check_keys, one, what), (*path, key), "key", subject)


def lacking(table: Table, key: str, path: Path, subject: str) -> Iterator[Problem]:
    if key not in table:
        refusal = Refusal("The control plan lacks the key {key}.", key=f"“{key}”")
        yield Problem(refusal, (*path, key), "missing", subject)


def too_long(text: Any, most: int, path: Path, subject: str) -> Iterator[Problem]:
    if isinstance(text, str) and len(text) > most:
        refusal = Refusal(
            "There is room for {most} characters. Given: “{given}”.", most=most, given=shortened(text)
        )
        yield Problem(refusal, path, "too long", subject)


def unknown(path: Path, what: str, given: str, known: Mapping[str, Any], subject: str) -> Problem:
    refusal = Refusal(
        "The control plan has no {what} called “{given}”. Known: {known}.",
        what=what,
        given=given,
        known=", ".join(known),
    )
    return Problem(refusal, path, "known", subject)


def tables(value: Any) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {}


def parts(value: Any) -> list[Any]:
    return value if isinstance(value, list) else []


def texts(value: Any) -> list[str]:
    return [part for part in parts(value) if isinstance(part, str)]
