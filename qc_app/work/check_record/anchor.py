"""The last hashes of all chains, kept elsewhere: without them nobody can tell that a tail was cut off.

An anchor is a small JSON file, for example ``{"building 3": {"number": 41, "hash": "9f2c…"}}``.
"""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from qc_app.refusal import Refusal


class Head(NamedTuple):
    """The last event of a chain: its number and its hash."""

    number: int
    hash: str


Anchor = Mapping[str, Head]
"""The head of each chain, by the chain's name."""


def read_anchor(file: Path) -> Anchor:
    """The heads that a file holds; none where there is no such file yet.

    Raises
    ------
    Refusal
        If the file holds something else.
    """
    if not file.exists():
        return {}
    try:
        found = json.loads(file.read_text("utf-8"))
        return {str(chain): Head(int(head["number"]), str(head["hash"])) for chain, head in found.items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise Refusal("The file {name} holds no hashes of chains.", name=file.name) from error


def write_anchor(file: Path, heads: Anchor) -> None:
    """Writes the heads to a file, whole or not at all."""
    content = {chain: {"number": head.number, "hash": head.hash} for chain, head in sorted(heads.items())}
    beside = file.with_name(f".{file.name}-new")
    beside.write_text(json.dumps(content, indent=1) + "\n", "utf-8")
    beside.replace(file)
