"""Panels and plans to check against each other."""

import pytest

from qc_app.plan.control_plan import ControlPlan
from qc_app.plan.document import read_plan
from qc_app.plan.subject import Bay, Subject
from qc_app.work.setup import default_document

INCH = 25_400_000
FOOT = 12 * INCH


def subject(
    kind: str = "closed_roof",
    mark: str = "R-01",
    serial: int = 1,
    bays: int = 12,
    depth: int = 45 * INCH // 4,
) -> Subject:
    """A panel of 8 by 24 ft with bays 22 1/2 in wide and two connectors."""
    return Subject(
        mark,
        kind,
        serial,
        24 * FOOT,
        8 * FOOT,
        depth,
        tuple(Bay(number, 45 * INCH // 2, depth) for number in range(1, bays + 1)),
        (4 * FOOT, 20 * FOOT),
    )


@pytest.fixture(scope="session")
def document() -> str:
    """The text of the control plan that a new shop starts with."""
    return default_document()


@pytest.fixture(scope="session")
def plan(document: str) -> ControlPlan:
    """The control plan that a new shop starts with."""
    return read_plan(document)
