"""Changing things in the written form of a control plan, leaving its comments and its layout as they are."""

import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, InlineTable

from qc_app.refusal import Refusal

Path = tuple[str | int, ...]
"""Where a thing stands, such as ``("characteristic", 4, "limits", "upper")``; numbers count from 0."""

WIDEST_LINE = 100
"""A list longer than this, in characters, is written with one part to a line."""


def with_change(document: str, path: Path, value: Any) -> str:
    """The document with this value at the path; None takes it out, and a value that is there changes nothing.

    Raises
    ------
    Refusal
        As ``with_changes``.
    """
    return with_changes(document, {path: value})


def with_changes(document: str, changes: Mapping[Path, Any]) -> str:
    """The document with several changes, one after another.

    Of a table or a list of tables only the parts that differ are touched, so that comments beside the others
    stay.

    Raises
    ------
    Refusal
        If the document is not TOML, a path leads nowhere, or a change cannot be made without touching
        anything else.
    """
    wanted = _read(document)
    new = {path: value for path, value in changes.items() if _at(wanted, path) != value}
    if not new:
        return document
    written = tomlkit.parse(document)
    for path, value in new.items():
        try:
            wanted = _expected(wanted, path, value)
            _put(_inside(written, path[:-1]), path[-1], value)
        except (TOMLKitError, LookupError, TypeError) as error:
            raise _refused(path) from error
    after = tomlkit.dumps(written)
    if not _says(after, wanted):
        raise _refused(next(iter(new)))
    return after


def value_at(document: str, path: Path) -> Any:
    """What stands at a path; None if nothing does.

    Raises
    ------
    Refusal
        If the document is not TOML.
    """
    return _at(_read(document), path)


def _read(document: str) -> dict[str, Any]:
    try:
        return tomllib.loads(document)
    except tomllib.TOMLDecodeError as error:
        raise Refusal("The control plan is not readable TOML: {error}.", error=error) from error


def _says(document: str, wanted: dict[str, Any]) -> bool:
    try:
        return tomllib.loads(document) == wanted
    except tomllib.TOMLDecodeError:
        return False


def _refused(path: Path) -> Refusal:
    return Refusal(
        "“{field}” cannot be changed here without changing more. Change it in the text of the plan.",
        field=".".join(map(str, path)),
    )


def _at(table: Any, path: Path) -> Any:
    for step in path:
        try:
            table = table[step]
        except (LookupError, TypeError):
            return None
    return table


def _inside(table: Any, path: Path) -> Any:
    """The table at a path; where there is none yet, a new one."""
    for step in path:
        if isinstance(step, str) and step not in table:
            table[step] = tomlkit.inline_table()
        table = table[step]
    return table


def _put(table: Any, key: str | int, value: Any) -> None:
    if value is None:
        if key in table:
            del table[key]
        return
    present = table.get(key) if isinstance(table, Mapping) and isinstance(key, str) else table[key]
    if isinstance(present, InlineTable) and isinstance(value, Mapping) and present.keys() != value.keys():
        table[key] = _written(value)  # it stands on one line, so there is no comment inside
    elif isinstance(value, Mapping) and isinstance(present, Mapping):
        for name in {**present, **value}:
            if name not in present or present[name] != value.get(name):
                _put(present, name, value.get(name))
    elif _is_list_of_tables(value) and isinstance(present, Sequence) and len(present) == len(value):
        for number, part in enumerate(value):
            _put(present, number, part)
    else:
        table[key] = _written(value)


def _is_list_of_tables(value: Any) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(part, Mapping) for part in value)


def _written(value: Any) -> Any:
    """A value in the layout of the plan that a new shop starts with."""
    if isinstance(value, Mapping):
        return _table(value)
    if not isinstance(value, list):
        return value
    array: Array = tomlkit.array()
    for part in value:
        array.append(_written(part))
    if len(array.as_string()) > WIDEST_LINE or _is_list_of_tables(value):
        text = ",\n".join(f"  {tomlkit.item(_written(part)).as_string()}" for part in value)
        return tomlkit.value(f"[\n{text},\n]")
    return array


def _table(value: Mapping[str, Any]) -> InlineTable:
    parts = (
        f"{tomlkit.key(name).as_string()} = {tomlkit.item(_written(part)).as_string()}"
        for name, part in value.items()
    )
    table = tomlkit.value("{ " + ", ".join(parts) + " }") if value else tomlkit.inline_table()
    assert isinstance(table, InlineTable)  # noqa: S101
    return table


def _expected(before: dict[str, Any], path: Path, value: Any) -> dict[str, Any]:
    after = deepcopy(before)
    table: Any = after
    for step in path[:-1]:
        table = table.setdefault(step, {}) if isinstance(step, str) else table[step]
    if value is None:
        table.pop(path[-1], None)
    else:
        table[path[-1]] = value
    return after
