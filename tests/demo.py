"""The demo as anybody builds it, by running the script; twice at once, to be compared."""

import fcntl
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

SCRIPT = Path(__file__).parents[1] / "seed_demo.py"
FRESH, USED = "demo in a new folder", "demo over an earlier one"

RUN_WITH_CHEAP_PASSWORDS = """
import runpy, sys
from qc_app.work import people
people.HASHING_COST = (1, 8, 1)
runpy.run_path(sys.argv.pop(1), run_name="__main__")
"""


@dataclass(frozen=True)
class Demo:
    """Where a demo stands, and what building it printed."""

    folder: Path
    printed: str


def one_demo(base: Path) -> Demo:
    """The first of the two; the other is not built for it."""
    return _built(base, (FRESH,))[0]


def two_demos(base: Path) -> tuple[Demo, Demo]:
    """Two builds by processes that hash text differently, the second over what was left of an earlier one."""
    fresh, used = _built(base, (FRESH, USED))
    return fresh, used


def _built(base: Path, names: tuple[str, ...]) -> list[Demo]:
    """Those builds. ``base`` is pytest's temporary folder of this run.

    Each is built once in a run, whoever asks first, also when several processes share the tests.
    """
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    folders = [shared / name for name in names]
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        _build([folder for folder in folders if not _printed(folder).exists()])
    return [Demo(folder, _printed(folder).read_text("utf-8")) for folder in folders]


def _build(folders: list[Path]) -> None:
    for used in (folder for folder in folders if folder.name == USED):
        used.mkdir()
        for name in ("qc.db", "qc.db-wal", "qc.db-shm", "planted-faults.json", "readings.xlsx"):
            (used / name).write_text("left over\n", "utf-8")
    running = [(folder, _start(folder)) for folder in folders]
    for folder, process in running:
        out, err = process.communicate(timeout=900)
        assert process.returncode == 0, err
        _printed(folder).write_text(out, "utf-8")


def _start(folder: Path) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", RUN_WITH_CHEAP_PASSWORDS, SCRIPT, folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=SCRIPT.parent,
        env={**os.environ, "PYTHONHASHSEED": "1" if folder.name == FRESH else "2"},
    )


def _printed(folder: Path) -> Path:
    """The file, beside the folder, with what building the demo printed."""
    return folder.with_suffix(".txt")
