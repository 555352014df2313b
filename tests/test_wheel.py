"""The wheel as a shop gets it: built, installed into an empty environment elsewhere, and used from there."""

import os
import re
import subprocess
import sys
import sysconfig
import venv
from collections.abc import Iterator
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import HTTPCookieProcessor, OpenerDirector, build_opener
from zipfile import ZipFile

import pytest

from tests.ports import free_port

REPOSITORY = Path(__file__).parents[1]

ANSWERS = {
    "plant_name": "Plumb & Larch Panel Works",
    "units": "imperial 16",
    "time_zone": "America/New_York",
    "manager_name": "Mira Quill",
    "sign_in_name": "mira",
    "password": "larch and plumb line",
}


def run(*command: str | Path, cwd: Path) -> str:
    """Runs a command that knows nothing of the repository; returns what it printed."""
    done = subprocess.run(command, cwd=cwd, env=bare(), capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout.strip()


def bare() -> dict[str, str]:
    """The environment without what would lead Python to the repository."""
    return {name: value for name, value in os.environ.items() if name not in ("PYTHONPATH", "VIRTUAL_ENV")}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built with the hatchling that is installed, so that no network is needed."""
    folder = tmp_path_factory.mktemp("wheel")
    build = (sys.executable, "-m", "build", "--wheel", "--no-isolation", "--outdir", folder, REPOSITORY)
    run(*build, cwd=folder)
    return next(folder.glob("*.whl"))


@pytest.fixture(scope="module")
def environment(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment holding the wheel; what it depends on is borrowed from this one."""
    folder = tmp_path_factory.mktemp("installed")
    venv.create(folder, with_pip=True)
    python = folder / "bin" / "python"
    run(python, "-m", "pip", "install", "--no-deps", "--no-index", wheel, cwd=folder)
    packages = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=folder)
    borrowed = {sysconfig.get_path("purelib"), sysconfig.get_path("platlib")}
    # These come last on the path, and an editable install among them is not followed.
    (Path(packages) / "borrowed.pth").write_text("\n".join(sorted(borrowed)) + "\n", "utf-8")
    return folder


@pytest.fixture(scope="module")
def address(environment: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Where the installed program serves a new log."""
    folder = tmp_path_factory.mktemp("shop")
    port = free_port()
    program, database = str(environment / "bin" / "qc-app"), str(folder / "qc.db")
    command = [program, "serve", "--database", database, "--tls", "off", "--port", str(port)]
    with (folder / "log").open("w", encoding="utf-8") as log:
        process = subprocess.Popen(
            command, cwd=folder, env=bare(), stdout=subprocess.PIPE, stderr=log, text=True
        )
    try:
        assert process.stdout is not None
        assert f":{port}/" in process.stdout.readline(), (folder / "log").read_text("utf-8")
        yield f"http://127.0.0.1:{port}"
    finally:
        process.terminate()
        process.communicate(timeout=30)


@pytest.fixture(scope="module")
def browser(address: str) -> OpenerDirector:
    """A browser without a screen that has set the log up through its form, and so is signed in."""
    opener = build_opener(HTTPCookieProcessor(CookieJar()))
    page = read(opener, f"{address}/")
    token = re.search(r'name="csrf_token"[^>]*value="([^"]+)"', page)
    assert token is not None, page
    form = urlencode({"csrf_token": token[1], **ANSWERS}).encode()
    with opener.open(f"{address}/setup", form, timeout=60) as answer:
        assert answer.url != f"{address}/setup"
    return opener


def read(opener: OpenerDirector, url: str) -> str:
    with opener.open(url, timeout=60) as answer:
        assert answer.status == 200
        return str(answer.read().decode("utf-8"))


def packed_files() -> dict[str, Path]:
    """Every file of the program by the name it has in the wheel."""
    folders = {
        "qc_app": REPOSITORY / "qc_app",
        "qc_app/templates": REPOSITORY / "templates",
        "qc_app/static": REPOSITORY / "static",
    }
    return {
        f"{name}/{path.relative_to(folder).as_posix()}": path
        for name, folder in folders.items()
        for path in folder.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_the_wheel_holds_every_file_of_the_program_unchanged(wheel: Path) -> None:
    wanted = packed_files()
    assert {
        "qc_app/plan/default.toml",
        "qc_app/templates/station_log.html",
        "qc_app/static/log.css",
        "qc_app/static/vendor/plotly-cartesian.min.js",
        "qc_app/records/migrations/env.py",
        "qc_app/records/migrations/versions/0001_first_tables.py",
        "qc_app/packet/building.typ",
        "qc_app/translations/es/LC_MESSAGES/messages.mo",
    } <= set(wanted)
    with ZipFile(wheel) as packed:
        assert set(wanted) <= set(packed.namelist())
        assert all(packed.read(name) == path.read_bytes() for name, path in wanted.items())


def test_the_wheel_holds_nothing_else(wheel: Path) -> None:
    with ZipFile(wheel) as packed:
        others = set(packed.namelist()) - set(packed_files())
    assert all(re.match(r"qc_app-[^/]+\.dist-info/", name) for name in others)


def test_the_program_comes_from_the_new_environment(environment: Path, tmp_path: Path) -> None:
    where = run(environment / "bin" / "python", "-c", "import qc_app; print(qc_app.__file__)", cwd=tmp_path)
    assert Path(where).resolve().is_relative_to(environment.resolve())


def test_the_installed_program_shows_its_help(environment: Path, tmp_path: Path) -> None:
    assert "serve" in run(environment / "bin" / "qc-app", "--help", cwd=tmp_path)


def test_a_log_set_up_in_the_browser_shows_its_stations(browser: OpenerDirector, address: str) -> None:
    assert "Sheathing fence" in read(browser, f"{address}/station/sheathing_fence")
    assert "Plumb &amp; Larch Panel Works" in read(browser, f"{address}/building")


def test_the_installed_program_speaks_spanish(browser: OpenerDirector, address: str) -> None:
    page = read(browser, f"{address}/station/sheathing_fence?language=es")
    assert "Tope de forrado" in page  # a word of the plan
    assert "Ahora nada espera aquí." in page  # a word of the program


@pytest.mark.parametrize("name", ["log.css", "chart.js", "mark.svg", "vendor/plotly-cartesian.min.js"])
def test_static_files_are_served_as_they_are(name: str, browser: OpenerDirector, address: str) -> None:
    icon = re.search(r'href="(/static/[0-9a-f]{12})/mark.svg"', read(browser, f"{address}/sign-in"))
    assert icon is not None
    served = read(browser, f"{address}{icon[1]}/{name}")
    assert served == (REPOSITORY / "static" / name).read_text("utf-8")
