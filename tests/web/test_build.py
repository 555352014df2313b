"""A build's name follows what browsers see."""

from pathlib import Path

from qc_app.web.build import build_of


def folder_with(folder: Path, **files: str) -> Path:
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_text(content)
    return folder


def test_the_same_files_give_the_same_name(tmp_path: Path) -> None:
    one = folder_with(tmp_path / "one", a="1", b="2")
    two = folder_with(tmp_path / "two", b="2", a="1")
    assert build_of(one) == build_of(two)
    assert len(build_of(one)) == 12
    assert int(build_of(one), 16) >= 0


def test_a_changed_file_gives_another_name(tmp_path: Path) -> None:
    folder = folder_with(tmp_path / "one", a="1")
    before = build_of(folder)
    (folder / "a").write_text("2")
    assert build_of(folder) != before


def test_a_renamed_file_gives_another_name(tmp_path: Path) -> None:
    assert build_of(folder_with(tmp_path / "one", a="1")) != build_of(folder_with(tmp_path / "two", b="1"))


def test_text_that_moves_from_one_file_to_the_next_gives_another_name(tmp_path: Path) -> None:
    one = folder_with(tmp_path / "one", a="12", b="3")
    two = folder_with(tmp_path / "two", a="1", b="23")
    assert build_of(one) != build_of(two)
