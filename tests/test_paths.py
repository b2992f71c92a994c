"""The data folders are found in a checkout and in an installed package."""

from pathlib import Path

import pytest

from diagnose import paths
from diagnose.errors import Unavailable


def package(root: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = root / "diagnose"
    folder.mkdir()
    monkeypatch.setattr(paths, "__file__", str(folder / "paths.py"))
    return folder


def test_a_checkout_has_them_at_its_root() -> None:
    assert paths.shipped().root == Path(__file__).resolve().parents[1]


def test_a_wheel_has_them_inside_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = package(tmp_path, monkeypatch) / "data"
    (data / "graphs").mkdir(parents=True)
    assert paths.shipped().machines == data.resolve() / "graphs" / "machines"


def test_missing_folders_are_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    package(tmp_path, monkeypatch)
    with pytest.raises(Unavailable, match="install rowfault again"):
        paths.shipped()


def test_only_yaml_files_count(tmp_path: Path) -> None:
    for name in ("b.yaml", "a.yml", "notes.txt"):
        (tmp_path / name).touch()
    assert [path.name for path in paths.yaml_files(tmp_path)] == ["a.yml", "b.yaml"]
