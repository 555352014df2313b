"""One choice of a select field or a set of radio buttons."""

from typing import Any

from wtforms.fields.choices import SelectChoice  # type: ignore[attr-defined] # newer than its published types


def choice(value: str, label: str) -> Any:
    """A choice: what is sent, and what is shown."""
    return SelectChoice(value, label)
