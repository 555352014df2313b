"""Readings that prove a panel, handed in one by one as on the line."""

from datetime import datetime
from math import hypot

from sqlalchemy.orm import Session

from qc_app.plan.control_plan import Check
from qc_app.records.building import Panel
from tests.conftest import NOW, Cast
from tests.work.conftest import Said

ENTRIES = {
    "meter": {"percent": "15"},
    "fill": {"mass": "56 lb"},
    "core": {"mass": "58 g", "depth": "11 1/4"},
    "check": {"passed": "yes"},
}


def within(panel: Panel, due: Check) -> dict[str, str]:
    """Entries within the limits of a check on the cast's panels."""
    target = due.characteristic.requirement(panel.subject, due.place).target or 0
    if due.characteristic.method.key == "tape":
        return {"length": f"{target / 1_000_000} mm"}
    if due.characteristic.method.key == "difference_of_diagonals":
        diagonal = f"{hypot(panel.length, panel.width) / 1_000_000:.0f} mm"
        return {"ac": diagonal, "bd": diagonal}
    return ENTRIES[due.characteristic.method.key]


def checks_of(panel: Panel) -> list[Check]:
    """All checks on a panel's route, in order."""
    plan = panel.control_plan.plan
    return [due for station in plan.kind(panel.kind).route for due in plan.checks(panel.subject, station)]


def prove(
    session: Session,
    cast: Cast,
    panel: Panel,
    of: str = "floor_panel",
    *,
    without: str = "",
    at: datetime = NOW,
) -> None:
    """Hands in a reading within limits for every check but those of one characteristic."""
    for due in checks_of(panel):
        asked = due.characteristic
        if asked.key != without:
            entries, tools = within(panel, due), asked.instruments
            said = Said(asked.key, due.place, entries, at, of, asked.station, instruments=tools)
            said.record(session, cast, at)
