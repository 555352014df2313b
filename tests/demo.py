"""The demo as anybody builds it, by running the script; twice at once, to be compared."""

import fcntl
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

SCRIPT = Path(__file__).parents[1] / "seed_demo.py"


@dataclass(frozen=True)
class Demo:
    """Where a demo stands, and what building it printed."""

    folder: Path
    printed: str


def two_demos(base: Path) -> tuple[Demo, Demo]:
    """Two builds by processes that hash text differently, the second over what was left of an earlier one.

    ``base`` is pytest's temporary folder of this run. They are built once in a run, whoever asks first, also
    when several processes share the tests.
    """
    shared = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    fresh, used = shared / "demo in a new folder", shared / "demo over an earlier one"
    with (shared / "demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not _printed(used).exists():
            _build(fresh, used)
    return Demo(fresh, _printed(fresh).read_text("utf-8")), Demo(used, _printed(used).read_text("utf-8"))


def _build(fresh: Path, used: Path) -> None:
    used.mkdir()
    for name in ("qc.db", "qc.db-wal", "qc.db-shm", "planted-faults.json", "readings.xlsx"):
        (used / name).write_text("left over\n", "utf-8")
    running = [(folder, _start(folder, seed)) for folder, seed in ((fresh, "1"), (used, "2"))]
    for folder, process in running:
        out, err = process.communicate(timeout=300)
        assert process.returncode == 0, err
        _printed(folder).write_text(out, "utf-8")


def _start(folder: Path, hash_seed: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-W", "error", SCRIPT, folder],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONHASHSEED": hash_seed},
    )


def _printed(folder: Path) -> Path:
    """The file, beside the folder, with what building the demo printed."""
    return folder.with_suffix(".txt")
