"""Layout files that cannot be used: each fault at its line, all of them at once."""

from pathlib import Path

import pytest

from diagnose.errors import FileProblems
from diagnose.machine.graph import load_machine

GOOD = """\
id: mine
name: mine (invented layout)
rows: 6
sections:
  - {id: section-1, rows: 1-4, feed: chain, from: 1, to: 4}
  - {id: section-2, rows: 5-6}
branches:
  - {id: harness-1, rows: 1-6, controller: controller-1}
controllers:
  - {id: controller-1}
ports:
  - {id: port-left, at: 1, rows: 1-6}
extra:
  - {id: supply/cooler, kind: filter, needs: [supply/hose], serves: [section-1/hose]}
"""

# what is changed, into what, the line that is told, what is said
BAD = {
    "row in two sections": ("5-6}", "4-6}", 6, "row 4 again; section-1 has it"),
    "row in no section": ("5-6}", "5}", 4, "no place for row 6"),
    "row in no branch": ("rows: 1-6, con", "rows: 1-5, con", 7, "no place for row 6"),
    "row out of range": ("5-6}", "5-7}", 6, "expected rows from 1 to 6, got '5-7'"),
    "rows backwards": ("rows: 1-6, con", "rows: 6-1, con", 8, "write 1-6"),
    "rows not rows": ("1-6}", "left}", 12, "expected row numbers such as 6 or 1-5, got 'left'"),
    "no rows at all": ("rows: 1-6}", "rows: }", 12, "expected row numbers such as 6 or 1-5"),
    "no number of rows": ("rows: 6", "rows: six", 3, "expected a whole number for rows, got 'six'"),
    "too many rows": ("rows: 6\n", "rows: 100000\n", 3, "less than or equal to 120"),
    "a chain that starts within": ("from: 1", "from: 2", 5, "write from: 1 and to: 4"),
    "a chain without ends": (", from: 1, to: 4", "", 5, "from and to at the ends of rows 1-4"),
    "a star with ends": ("5-6}", "5-6, from: 5, to: 6}", 6, "no from and to in a star"),
    "an unknown feed": ("feed: chain", "feed: ring", 5, "'star' or 'chain'"),
    "an unknown feeder": ("5-6}", "5-6, fed_from: sektion-1}", 6, "did you mean section-1"),
    "an unknown controller": ("controller: con", "controller: kon", 8, "did you mean controller-1"),
    "an idle controller": (
        "{id: controller-1}",
        "{id: controller-1}\n  - {id: c}",
        11,
        "'c' without",
    ),
    "a port beyond the rows": ("at: 1", "at: 7", 12, "expected a row from 1 to 6, got 7"),
    "an unknown kind": ("kind: filter", "kind: filtre", 14, "did you mean filter?"),
    "an unknown need": ("[supply/hose]", "[supply/house]", 14, "did you mean supply/hose"),
    "an unknown use": ("[section-1/hose]", "[row-1/vale]", 14, "did you mean row-1/valve"),
    "an extra part that nothing needs": (
        ", serves: [section-1/hose]",
        "",
        14,
        "row that depends on",
    ),
    "an extra part that serves only another one that nothing needs": (
        "serves: [section-1/hose]}",
        "serves: [supply/other]}\n  - {id: supply/other, kind: filter}",
        14,
        "expected a row that depends on supply/cooler, got none; say in serves: or rows: what",
    ),
    "an id twice": ("{id: section-2", "{id: section-1", 6, "a second 'section-1'"),
    "an id of another": ("{id: harness-1", "{id: section-1", 8, "which sections has"),
    "an id of every machine": ("port-left", "supply", 12, "which every machine has"),
    "an id of a row": ("port-left", "row-1", 12, "which a row has"),
    "an id of a usual part": ("supply/cooler", "supply/filter", 14, "an id that no other part has"),
    "an id with a space": ("port-left", "port left", 12, "an id of small letters"),
    "no name": ("name: mine (invented layout)", 'name: " "', 2, "a name for people"),
    "an unknown field": ("at: 1", "at: 1, colour: red", 12, "one of the fields id, at, rows"),
    "a misspelt field": ("feed: chain", "fead: chain", 5, "did you mean feed?"),
    "a missing field": (", controller: controller-1", "", 8, "the field 'controller'"),
    "a duplicate key": ("at: 1", "at: 1, at: 2", 12, "a second 'at'"),
    "off without quotes": ("feed: chain", "feed: off", 5, 'write "off"'),
    "a list too few": ("{id: controller-1}", "", 10, "names with values"),
}


def told(tmp_path: Path, text: str) -> list[str]:
    path = tmp_path / "mine.yaml"
    path.write_text(text, "utf-8")
    with pytest.raises(FileProblems) as caught:
        load_machine(str(path))
    return [str(problem).removeprefix(f"{path}:") for problem in caught.value.problems]


def test_the_layout_that_the_table_spoils_is_good(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(GOOD, "utf-8")
    assert load_machine(str(tmp_path / "mine.yaml")).rows == 6


@pytest.mark.parametrize(("old", "new", "line", "said"), BAD.values(), ids=BAD)
def test_each_fault_is_told_at_its_line(
    tmp_path: Path, old: str, new: str, line: int, said: str
) -> None:
    assert old in GOOD
    here = [text for text in told(tmp_path, GOOD.replace(old, new, 1)) if said in text]
    assert here
    assert here[0].startswith(f"{line}: expected ")


def test_a_circle_is_told_at_each_part_of_it(tmp_path: Path) -> None:
    circle = (
        "  - {id: supply/loop, kind: filter, needs: [supply/cooler], serves: [supply/cooler]}\n"
    )
    lines = told(tmp_path, GOOD + circle)
    assert [line.partition(":")[0] for line in lines] == ["14", "15"]
    assert all("in a circle, got supply/" in line for line in lines)


def test_a_part_that_serves_what_it_needs_is_a_circle(tmp_path: Path) -> None:
    (line,) = told(tmp_path, GOOD.replace("[section-1/hose]", "[supply/remote]"))
    assert line.startswith("14: expected parts that do not need each other in a circle")


def test_sections_that_feed_each_other_are_a_circle(tmp_path: Path) -> None:
    text = GOOD.replace("to: 4}", "to: 4, fed_from: section-2}")
    lines = told(tmp_path, text.replace("5-6}", "5-6, fed_from: section-1}"))
    assert [line.partition(":")[0] for line in lines] == ["5", "6"]


def test_all_faults_come_at_once_in_order_of_line(tmp_path: Path) -> None:
    text = GOOD
    for name in ("an unknown field", "an unknown kind", "row in two sections", "no name"):
        text = text.replace(*BAD[name][:2], 1)
    assert [line.partition(":")[0] for line in told(tmp_path, text)] == ["2", "6", "12", "14"]


def test_a_json_layout_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "mine.json"
    path.write_text('{"id": "mine",\n "rows": 6,\n "name": 3}', "utf-8")
    with pytest.raises(FileProblems, match=r"mine\.json:3: expected text for name, got 3"):
        load_machine(str(path))
