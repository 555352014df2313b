"""The standard uncertainty of an instrument from a gauge study that the shop made with it."""

from collections import defaultdict

from qc_app.plan.instrument import parse_reading
from qc_app.refusal import Refusal, shortened
from qc_app.spc.gauge import Components, crossed

MOST_LINES = 2000


def uncertainty_of_study(study: Components, grains_per_unit: int = 1) -> int:
    """Repeatability and reproducibility of a study as the standard uncertainty of one reading, in grains.

    ``grains_per_unit``: grains in one unit of the study's readings.

    Raises
    ------
    Refusal
        If the study shows no variation: then it was not read finely enough to tell.
    """
    found = round(study.standard_uncertainty * grains_per_unit)
    if found <= 0:
        raise Refusal("The study shows no variation at all: read it to finer marks.", about="study")
    return found


def read_study(kind: str, text: str) -> Components:
    """A study in which everybody measured every part equally often, from lines ``part; person; reading``.

    The readings are taken in grains.

    Raises
    ------
    Refusal
        If a line cannot be read, somebody did not measure every part as often as the others, or the study is
        too small.
    """
    trials: dict[tuple[str, str], list[int]] = defaultdict(list)
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) > MOST_LINES:
        raise Refusal("A study has at most {most} lines.", about="study", most=MOST_LINES)
    for line in lines:
        part, person, reading = _parts(line)
        trials[part, person].append(_reading(kind, reading))
    return _crossed(trials)


def _parts(line: str) -> tuple[str, str, str]:
    cells = [cell.strip() for cell in line.split(";")]
    if len(cells) != 3 or not all(cells):
        raise Refusal(
            "Each line of a study is part; person; reading. Given: “{given}”.",
            about="study",
            given=shortened(line),
        )
    return cells[0], cells[1], cells[2]


def _reading(kind: str, text: str) -> int:
    try:
        return parse_reading(kind, text)
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about="study", **refusal.facts) from refusal


def _crossed(trials: dict[tuple[str, str], list[int]]) -> Components:
    parts, people = (list(dict.fromkeys(key[n] for key in trials)) for n in (0, 1))
    cells = [[trials.get((part, person), []) for person in people] for part in parts]
    if len({len(cell) for row in cells for cell in row}) != 1:
        raise Refusal("Everybody in a study measures every part, and all equally often.", about="study")
    try:
        return crossed(cells).components
    except Refusal as refusal:
        raise Refusal(refusal.sentence, about="study", **refusal.facts) from refusal
