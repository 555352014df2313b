"""How fast the board is worked out and sent with four hundred panels in the shop."""

import statistics
import sys
import time
from collections.abc import Callable
from datetime import datetime
from uuid import uuid4

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, insert, select
from sqlalchemy.orm import Session

from qc_app.records.building import Building, Panel
from qc_app.records.database import Database
from qc_app.records.reading import Reading
from qc_app.records.shop import Person
from qc_app.work.board import board

PANELS = 400
TIMES = 15


def fill_shop(session: Session) -> None:
    """Builds the demo's first building again and again, readings and all, until the shop is full."""
    first = session.scalars(select(Building).order_by(Building.id)).first()
    assert first is not None
    number = 0
    while (session.scalar(select(func.count()).select_from(Panel)) or 0) < PANELS:
        number += 1
        copied = Building(plant_id=first.plant_id, code=f"B{number}", name=f"Copy {number}")
        session.add(copied)
        session.flush()
        for panel in session.scalars(select(Panel).where(Panel.building_id == first.id)).all():
            copy_panel(session, panel.id, copied.id)


def copy_panel(session: Session, panel_id: int, building_id: int) -> None:
    columns = {c.key: c for c in Panel.__table__.columns if c.key != "id"}
    row = session.execute(select(*columns.values()).where(Panel.id == panel_id)).mappings().one()
    made = session.execute(
        insert(Panel).returning(Panel.id), [{**row, "building_id": building_id}]
    ).scalar_one()
    columns = {c.key: c for c in Reading.__table__.columns if c.key != "id"}
    rows = session.execute(select(*columns.values()).where(Reading.panel_id == panel_id)).mappings().all()
    if rows:
        session.execute(insert(Reading), [{**r, "panel_id": made, "uuid": uuid4()} for r in rows])


def median_milliseconds(work: Callable[[], object]) -> float:
    times = []
    for _ in range(TIMES):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times) * 1e3


@pytest.mark.bench
def test_the_board_of_four_hundred_panels(
    demo_database: Database, manager: FlaskClient, capsys: pytest.CaptureFixture[str]
) -> None:
    with demo_database.write() as session:
        fill_shop(session)
        newest = session.scalar(select(func.max(Reading.measured_at)))
        panels = session.scalar(select(func.count()).select_from(Panel))
    assert isinstance(newest, datetime)

    def worked_out() -> int:
        with demo_database.read() as session:
            mira = session.scalars(select(Person).where(Person.sign_in_name == "mira")).one()
            return len(board(session, mira, newest).charts)

    charts = worked_out()
    assert charts > 0
    answer = manager.get("/board/parts")
    same = {"If-None-Match": answer.headers["ETag"]}
    assert manager.get("/board/parts", headers=same).status_code == 304
    lines = (
        f"\nboard of {panels} panels, {charts} small charts: {median_milliseconds(worked_out):.0f} ms",
        f"page: {median_milliseconds(lambda: manager.get('/board')):.0f} ms, "
        f"not changed since: {median_milliseconds(lambda: manager.get('/board/parts', headers=same)):.0f} ms",
    )
    with capsys.disabled():
        sys.stdout.write("\n".join(lines) + "\n")
