"""Cases that the measuring parts answer alike here and on the tablet, with the answers given here.

Written to ``vectors.json`` by ``python -m tests.twin.make_vectors`` from the root of the repository. The
inputs come from a seeded generator, so that they only change when this folder does.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from random import Random

from qc_app.refusal import Refusal
from tests.twin import lengths, methods, panels, quantities, reading, verdicts
from tests.twin.case import Case

VECTORS = Path(__file__).with_name("vectors.json")


@dataclass(frozen=True)
class Part:
    """One thing that both answer: the cases, and the answer given here."""

    cases: Callable[[Random], Iterator[Case]]
    answer: Callable[[Case], Case]


PARTS = {
    "entries": Part(lengths.typed_cases, lengths.parsed),
    "prints": Part(lengths.printed_cases, lengths.printed),
    "verdicts": Part(verdicts.judged_cases, verdicts.judged),
    "panels": Part(panels.measured_cases, panels.measured),
    "amounts": Part(quantities.typed_cases, quantities.parsed),
    "shown": Part(quantities.shown_cases, quantities.shown),
    "methods": Part(methods.measured_cases, reading.measured),
}


def answer(part: str, case: Case) -> Case:
    """What is said of a case: its answer, or the sentence, the facts and the field of the refusal.

    The finished sentence of a refused entry is compared too; elsewhere it holds numbers, which the two
    languages write in different ways.
    """
    try:
        return PARTS[part].answer(case)
    except Refusal as refusal:
        said = {"sentence": refusal.sentence, "facts": refusal.facts, "field": refusal.about}
        return said | {"message": str(refusal)} if part == "entries" else said


def cases() -> dict[str, list[Case]]:
    """The inputs of every part, the same each time."""
    random = Random(20_260_302)  # noqa: S311 # cases, no secrets
    return {name: list(part.cases(random)) for name, part in PARTS.items()}


def vectors() -> dict[str, list[Case]]:
    """Every case with its answer."""
    return {part: [case | {"answer": answer(part, case)} for case in some] for part, some in cases().items()}


def text_of(found: dict[str, list[Case]]) -> str:
    """JSON with one case on a line, so that a change shows which case it touches."""
    parts = []
    for part, some in found.items():
        lines = ",\n".join(json.dumps(case, separators=(",", ":"), default=_plain) for case in some)
        parts.append(f'"{part}": [\n{lines}\n]')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def _plain(value: object) -> str | float:
    return float(value) if isinstance(value, Fraction) else str(value)


if __name__ == "__main__":
    VECTORS.write_text(text_of(vectors()), encoding="ascii", newline="\n")
