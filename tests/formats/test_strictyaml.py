"""Strict YAML: what is refused, where, and that both parsers agree."""

import json
from pathlib import Path

import pytest

from diagnose.errors import FileProblems
from diagnose.formats import yamlnodes
from diagnose.formats.strictyaml import read_file, read_text
from diagnose.tolerances import LARGEST_YAML

SMALL_FAULTS = {
    "duplicate key": ("a: 1\nb: 2\na: 3", "f:3", "a second 'a'"),
    "off without quotes": ("a: 1\nengine: off", "f:2", "got off"),
    "yes in a list": ("a:\n  - yes", "f:2", "got yes"),
    "y as a name": ("y: 1", "f:1", "got y"),
    "true spelt large": ("a: True", "f:1", "got True"),
    "octal": ("a: 010", "f:1", "got 010"),
    "hexadecimal": ("a: 0x1F", "f:1", "got 0x1F"),
    "a clock time, base 60": ("a: 12:30:00", "f:1", "got 12:30:00"),
    "a date": ("a: 2024-05-01", "f:1", "got 2024-05-01"),
    "underscores in a number": ("a: 1_000", "f:1", "got 1_000"),
    "infinity": ("a: -.inf", "f:1", "got -.inf"),
    "beyond all measure": ("a: 1e400", "f:1", "got 1e400"),
    "endless digits": (f"a: {'9' * 5000}", "f:1", "got 999"),
    "a tag": ("a: !!python/name:os.system x", "f:1", "no tags"),
    "a list as a name": ("? [a]\n: 1", "f:1", "a name before the colon"),
    "nothing as a name": ("? \n: 1", "f:1", "a name before the colon"),
}

HOPELESS = {
    "an open bracket": ("a: [1, 2", "readable YAML"),
    "a colon too many": ("a: b: c", "f:1: expected readable YAML"),
    "an open quote": ("a: 'b", "readable YAML"),
    "an alias": ("a: &x 1\nb: *x", "f:1: expected no & and * references"),
    "two documents": ("a: 1\n---\nb: 2", "f:2: expected one document"),
    "a list": ("- 1", "names with values, such as 'id: valve', got a list"),
    "a lone word": ("valve", "names with values, such as 'id: valve', got text"),
    "an empty file": ("", "names with values, such as 'id: valve', got nothing"),
    "nested 60 deep": ("a: " + "[" * 60 + "]" * 60, "at most 40 levels"),
    "a control character": ("a: 1\nb: \x01", "f:2: expected text that can be printed"),
    "a lone surrogate": ("a: \ud800", "expected text "),
}


@pytest.fixture(params=["PythonComposer", "CComposer"])
def composer(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if not hasattr(yamlnodes, request.param):
        pytest.skip("PyYAML has no C parser here")
    monkeypatch.setattr(yamlnodes, "COMPOSER", getattr(yamlnodes, request.param))


@pytest.mark.usefixtures("composer")
@pytest.mark.parametrize(("text", "place", "got"), SMALL_FAULTS.values(), ids=SMALL_FAULTS)
def test_what_yaml_would_bend_is_told_with_its_line(text: str, place: str, got: str) -> None:
    (problem,) = read_text(text, "f").problems
    assert str(problem).startswith(f"{place}: ")
    assert got in str(problem)


@pytest.mark.usefixtures("composer")
@pytest.mark.parametrize(("text", "message"), HOPELESS.values(), ids=HOPELESS)
def test_what_cannot_be_read_is_refused(text: str, message: str) -> None:
    with pytest.raises(FileProblems) as caught:
        read_text(text, "f")
    assert message in str(caught.value)


@pytest.mark.usefixtures("composer")
def test_plain_words_and_numbers_are_what_they_look_like() -> None:
    text = 'rows: 1-5\noil: 118F\nlist: [0, -2, 0.5, 1e3]\nno_value: ~\nt: true\nq: "off"\n6: x'
    document = read_text(text, "f")
    assert document.problems == ()
    assert document.data == {
        "rows": "1-5",
        "oil": "118F",
        "list": [0, -2, 0.5, 1000.0],
        "no_value": None,
        "t": True,
        "q": "off",
        "6": "x",
    }


def test_all_faults_of_a_file_come_at_once() -> None:
    lines = [problem.where.line for problem in read_text("a: off\nb: 010\na: no", "f").problems]
    assert sorted(filter(None, lines)) == [1, 2, 3, 3]


def test_json_reads_the_same() -> None:
    data = {"id": "mine", "runs": [{"oil": 54.5, "on": True, "note": '😀 "x"', "none": None}]}
    assert read_text(json.dumps(data), "f").data == data
    assert read_text(json.dumps(data, indent="\t"), "f").data == data


def test_a_duplicate_key_in_json_is_told() -> None:
    assert "a second 'a'" in str(*read_text('{"a": 1,\n "a": 2}', "f.json").problems)


def test_every_value_has_its_line() -> None:
    document = read_text("a:\n  - b: 1\n    c: 2\n  - d: 3\n", "f")
    places = {("a",): 1, ("a", 0, "b"): 2, ("a", 0, "c"): 3, ("a", 1): 4, ("a", 1, "x", 9): 4}
    assert {path: document.place(path).line for path in places} == places


def test_a_file_that_is_no_text_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(b"a: 1\nb: \xff\n")
    with pytest.raises(FileProblems, match=r"mine\.yaml:2: expected text in UTF-8, got byte 0xff"):
        read_file(path)


def test_a_byte_order_mark_is_no_matter(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n")
    assert read_file(path).data == {"a": 1, "b": 2}


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_bytes(b"#" * (LARGEST_YAML + 1))
    with pytest.raises(FileProblems, match="at most 5,000,000 bytes"):
        read_file(path)


@pytest.mark.parametrize("name", ["missing.yaml", ".", "nul\0.yaml"])
def test_a_path_that_cannot_be_opened_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(FileProblems, match="a file that can be read"):
        read_file(tmp_path / name)
