"""The check from a terminal."""

import hashlib
import json
from pathlib import Path

import pytest
from sqlalchemy import text

from qc_app.cli import main
from qc_app.records.database import Database
from tests.conftest import stage
from tests.work.check_record.tampering import open_to_tampering
from tests.work.conftest import Said


def test_the_terminal_says_that_all_is_whole_and_keeps_the_anchor(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, anchor = tmp_path / "qc.db", tmp_path / "heads.json"
    database = Database(str(path))
    database.migrate()
    cast = stage(database)
    with database.write() as session:
        Said().record(session, cast)
    arguments = ["check", "--database", str(path), "--anchor", str(anchor)]
    database.close()
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    assert main(arguments) == 0
    assert capsys.readouterr().out.startswith("The record is whole: ")
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    assert json.loads(anchor.read_text("utf-8"))[f"building {cast.building}"]["number"] == 3
    cut = Database(str(path))
    with cut.write() as session:
        open_to_tampering(session)
        session.execute(text("DELETE FROM event WHERE chain LIKE 'building%' AND number = 3"))
    cut.close()
    assert main(arguments) == 1
    assert "it ends at event 2; the anchor knows of event 3." in capsys.readouterr().out
    assert json.loads(anchor.read_text("utf-8"))[f"building {cast.building}"]["number"] == 3


def test_the_terminal_refuses_a_database_that_is_not_there_or_not_migrated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    missing = tmp_path / "none.db"
    assert main(["check", "--database", str(missing)]) == 2
    assert not missing.exists()
    assert "There is no database" in capsys.readouterr().err
    (tmp_path / "empty.db").touch()
    assert main(["check", "--database", str(tmp_path / "empty.db")]) == 2
    assert "Run qc-app migrate first" in capsys.readouterr().err
