"""The user's own folder adds to what ships; everything wrong is told at once."""

from pathlib import Path

import pytest

from diagnose.errors import FileProblems, Unavailable
from diagnose.knowledge.base import load_knowledge
from diagnose.paths import Folders, own, shipped

SHIPPED = load_knowledge(Path("no such folder"))


def put(root: Path, folder: str, name: str, source: Path, *changes: tuple[str, str]) -> None:
    text = source.read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (root / "graphs" / folder).mkdir(parents=True, exist_ok=True)
    (root / "graphs" / folder / name).write_text(text, "utf-8")


def test_a_part_kind_and_a_layout_of_the_user_are_added(tmp_path: Path) -> None:
    put(
        tmp_path,
        "parts",
        "cooler.yaml",
        shipped().parts / "filter.yaml",
        ("id: filter", "id: cooler"),
    )
    put(
        tmp_path,
        "machines",
        "mine.yaml",
        shipped().machines / "mounted-6.yaml",
        ("id: mounted-6", "id: mine"),
    )
    knowledge = load_knowledge(tmp_path)
    assert set(knowledge.parts) - set(SHIPPED.parts) == {"cooler"}
    assert set(knowledge.layouts) - set(SHIPPED.layouts) == {"mine"}


def test_a_taken_id_is_refused(tmp_path: Path) -> None:
    put(tmp_path, "parts", "filter.yaml", shipped().parts / "filter.yaml")
    put(tmp_path, "machines", "mounted-6.yaml", shipped().machines / "mounted-6.yaml")
    with pytest.raises(FileProblems) as caught:
        load_knowledge(tmp_path)
    told = [str(problem) for problem in caught.value.problems]
    assert len(told) == 2
    assert all(str(tmp_path) in line and "not taken" in line for line in told)


def test_names_that_lead_to_other_files_are_checked(tmp_path: Path) -> None:
    valve = shipped().parts / "valve.yaml"
    changes = [
        ("id: valve\n", "id: mine\n"),
        ('"branch:chafed": sometimes\n', '"branch:chaffed": sometimes\n'),
    ]
    put(tmp_path, "parts", "mine.yaml", valve, *changes)
    with pytest.raises(FileProblems, match="a mode of branch after the colon, got 'chaffed'; did"):
        load_knowledge(tmp_path)


def test_problems_of_all_files_come_at_once(tmp_path: Path) -> None:
    for name, change in (
        ("a", ("side: oil", "side: off")),
        ("b", ("minutes: 20", "minutes: long")),
    ):
        changes = [("id: filter", f"id: {name}"), change]
        put(tmp_path, "parts", f"{name}.yaml", shipped().parts / "filter.yaml", *changes)
    with pytest.raises(FileProblems) as caught:
        load_knowledge(tmp_path)
    assert {Path(p.where.source).name for p in caught.value.problems} == {"a.yaml", "b.yaml"}


def test_the_file_is_called_as_its_id(tmp_path: Path) -> None:
    put(
        tmp_path,
        "parts",
        "cooler.yaml",
        shipped().parts / "filter.yaml",
        ("id: filter", "id: sieve"),
    )
    with pytest.raises(FileProblems, match=r"cooler\.yaml:1: expected id: cooler"):
        load_knowledge(tmp_path)


def test_the_users_folder_can_be_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path))
    assert own() == Folders(tmp_path)


def test_without_a_name_it_is_the_platforms_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("ROWFAULT_HOME", raising=False)
    assert own().root.name == "rowfault"


def test_loading_twice_costs_once() -> None:
    assert load_knowledge() is load_knowledge()


def test_a_home_that_is_no_folder_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ROWFAULT_HOME", str(tmp_path / "nowhere"))
    with pytest.raises(Unavailable, match="nowhere: expected a folder, got nothing there; make"):
        own()
