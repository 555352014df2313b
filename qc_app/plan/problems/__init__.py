"""Everything that is wrong with the written form of a control plan, each with the field it is about."""

import re
import tomllib

from qc_app.plan import document as written
from qc_app.plan.problems.line import line_of
from qc_app.plan.problems.of_plan import PlanSearch
from qc_app.plan.problems.problem import Problem
from qc_app.refusal import Refusal

__all__ = ["Problem", "line_of", "problems"]

_AT_LINE = re.compile(r"at line (\d+)")


def problems(text: str) -> list[Problem]:
    """All that is wrong with a document, in its order; empty exactly when ``read_plan`` can read it and more.

    More, because some things could be read but not lived with: names too long for the tables, a guarded
    decision rule where no uncertainty is known, an unknown instrument of an uncertainty.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        where = _AT_LINE.search(str(error))
        refusal = Refusal("The control plan is not readable TOML: {error}.", error=error)
        return [Problem(refusal, (), "toml", line=int(where[1]) if where else None)]
    found = list(PlanSearch(document).all())
    for problem in found:
        problem.line = line_of(text, problem.path)
    return found or _unread(text)


def _unread(text: str) -> list[Problem]:
    try:
        written.read_plan(text)
    except Refusal as refusal:
        return [Problem(refusal, (), "readable")]
    return []
