"""How fast the program starts and its pages answer, on the demo's twelve weeks of readings."""

import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from sqlalchemy import func, select

from qc_app.records.building import Panel
from qc_app.records.chart import Point
from qc_app.records.database import Database
from qc_app.records.reading import Reading

REQUESTS = 50
STARTS = 5

LIBRARIES = "import flask, sqlalchemy, sqlalchemy.orm, flask_wtf, flask_babel"
PROGRAM = """
import sys
from qc_app.records.database import Database
from qc_app.web import create_app
database = Database(sys.argv[1])
create_app(database)
database.close()
"""


def start(code: str, *arguments: str) -> float:
    """Seconds from nothing to the end of the code, in a fresh process."""
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, timeout=120, env=environment)
    return time.perf_counter() - began


def median_milliseconds(work: Callable[[], object]) -> float:
    times = []
    for _ in range(REQUESTS):
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return statistics.median(times) * 1e3


@pytest.mark.bench
def test_start_up_against_loading_the_libraries_alone(
    demo_database: Database, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(demo_database.engine.url.database)
    start(PROGRAM, path)
    nothing = min(start("pass") for _ in range(STARTS))
    libraries = min(start(LIBRARIES) for _ in range(STARTS))
    program = min(start(PROGRAM, path) for _ in range(STARTS))
    with capsys.disabled():
        sys.stdout.write(
            f"\nstart-up: {program * 1e3:.0f} ms; its libraries alone {libraries * 1e3:.0f} ms, "
            f"Python alone {nothing * 1e3:.0f} ms: {program / libraries:.2f} times the libraries\n"
        )
    assert program > nothing


@pytest.mark.bench
def test_pages_on_the_demo(
    demo_database: Database, manager: FlaskClient, capsys: pytest.CaptureFixture[str]
) -> None:
    small_file = f"{manager.application.static_url_path}/mark.svg"
    page_of_nothing = median_milliseconds(lambda: manager.get(small_file).close())
    lines = [f"\nmedian of {REQUESTS} requests; a small static file: {page_of_nothing:.2f} ms"]
    for name, address in addresses(demo_database).items():
        answer = manager.get(address)
        assert answer.status_code == 200, address
        taken = median_milliseconds(lambda address=address: manager.get(address).get_data())  # type: ignore[misc]
        lines.append(f"{name:28} {taken:7.1f} ms {taken / page_of_nothing:6.1f}x  {len(answer.data):8} bytes")
    with capsys.disabled():
        sys.stdout.write("\n".join(lines) + "\n")


def addresses(database: Database) -> dict[str, str]:
    """Pages that are asked for often, each where it has most to show."""
    with database.read() as session:
        fence = session.scalars(select(Panel).where(Panel.waiting_at == "sheathing_fence")).first()
        fill = session.scalars(select(Panel).where(Panel.waiting_at == "fill")).first()
        assert fence is not None
        assert fill is not None
        by_panel = select(Reading.panel_id).where(Reading.panel_id.is_not(None)).group_by(Reading.panel_id)
        panel = session.scalar(by_panel.order_by(func.count().desc()).limit(1))
        by_stream = select(Point.stream_id).group_by(Point.stream_id)
        stream = session.scalar(by_stream.order_by(func.count().desc()).limit(1))
        return {
            "station, fence": "/station/sheathing_fence",
            "station, final": "/station/final",
            "station, log a length": f"/station/sheathing_fence/panel/{fence.id}",
            "station, log a core": f"/station/fill/panel/{fill.id}",
            "building": f"/building/{fence.building_id}",
            "panel": f"/panel/{panel}",
            "charts": "/chart",
            "charts of a station": "/chart/station/sheathing_fence",
            "chart": f"/chart/{stream}",
            "figure": f"/chart/{stream}/figure.json",
        }
