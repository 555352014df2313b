"""What starting the program loads. A tablet's first page must not wait for a library that few pages use."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

SLOW = ("pandas", "plotly", "scipy", "matplotlib", "typst", "openpyxl", "argon2")

START = """
import sys
from qc_app.records.database import Database
from qc_app.web import create_app
database = Database(sys.argv[1])
database.migrate()
app = create_app(database)
print("before the first page:", *sorted(sys.modules))
assert app.test_client().get("/").status_code == 302
print("after the first page:", *sorted(sys.modules))
database.close()
"""


@pytest.fixture(scope="module")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> list[set[str]]:
    """The modules in a fresh process, before and after its first page; any warning would end it."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", START, str(tmp_path_factory.mktemp("start") / "qc.db")],
        capture_output=True,
        text=True,
        timeout=120,
        env={**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert done.returncode == 0, done.stderr
    return [set(line.partition(": ")[2].split()) for line in done.stdout.splitlines()]


@pytest.mark.parametrize("name", SLOW)
def test_starting_loads_no(name: str, loaded: list[set[str]]) -> None:
    for modules in loaded:
        assert "qc_app.web.worker.station" in modules
        assert name not in modules
