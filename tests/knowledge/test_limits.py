"""Files of any size and sort are read in little memory and time, or refused with the reason."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import threading
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose import tolerances as limits
from diagnose.errors import FileProblems
from diagnose.formats import textfile as reading
from diagnose.formats.rowranges import read_rows
from diagnose.formats.strictyaml import read_file, read_text
from diagnose.formats.textfile import read_text_file
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.assemble import machine_in
from diagnose.paths import yaml_files, yaml_files_below

LAYOUT = """id: big
name: {name}
rows: {rows}
sections:
  - {{id: section-1, rows: "{named}"}}
branches:
  - {{id: harness-1, rows: 1-{rows}, controller: controller-1}}
controllers:
  - {{id: controller-1}}
"""
MOST = limits.MOST_ROWS
SMALL = 400 * 2**20
"""Bytes of memory that are enough for any refusal."""


def refused(read: object, *arguments: object) -> str:
    with pytest.raises(FileProblems) as caught:
        read(*arguments)
    return str(caught.value)


def layout(extra: str = "", rows: int = 6, named: str = "", name: str = "big") -> str:
    """What is wrong with a layout."""
    text = LAYOUT.format(rows=rows, named=named or f"1-{rows}", name=name)
    return refused(machine_in, read_text(text + extra, "big.yaml"), load_knowledge())


@pytest.mark.parametrize("named", ["1-120," * 100_000 + "1", "1-120," * 300 + "1"])
def test_rows_named_over_and_over_are_refused_before_they_are_counted_out(named: str) -> None:
    got, before = "", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    got = layout(rows=MOST, named=named)
    assert "each row once" in got or "at most 2,000 letters" in got
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < 50_000


@given(st.lists(st.tuples(st.integers(1, 12), st.integers(1, 12)), min_size=1, max_size=6))
def test_ranges_of_rows_are_their_union_unless_they_overlap(ranges: list[tuple[int, int]]) -> None:
    ordered = [(min(pair), max(pair)) for pair in ranges]
    rows = [row for first, last in ordered for row in range(first, last + 1)]
    text = ",".join(f"{first}-{last}" for first, last in ordered)
    if len(set(rows)) == len(rows):
        assert read_rows(text, 12) == tuple(sorted(rows))
    else:
        with pytest.raises(Wrong, match="each row once"):
            read_rows(text, 12)


@pytest.mark.slow
def test_a_layout_of_too_much_is_refused_before_it_is_built() -> None:
    ports = "".join(f"  - {{id: p-{n}, at: 1, rows: 1-{MOST}}}\n" for n in range(5000))
    assert "at most 120 ports, one for each row, got 5,000" in layout(f"ports:\n{ports}", MOST)
    extra = "".join(f"  - {{id: x/p-{n}, kind: filter, rows: 1-6}}\n" for n in range(5000))
    assert "at most 200 extra parts, got 5,000; take some out" in layout(f"extra:\n{extra}")
    assert "less than or equal to 120" in layout(rows=MOST + 1)
    assert "a name of at most 200 letters, got 300; shorten it" in layout(name="x" * 300)


YAML = {
    "values": ("a: [" + "b," * limits.MOST_VALUES + "]", "at most 100,000 values, got more"),
    "names": ("".join(f"a{n}: 1\n" for n in range(60_000)), "at most 100,000 values, got more"),
    "lists": ("a: [" + "[]," * 300_000 + "]", "at most 100,000 values, got more"),
    "levels": ("a: " + "{a: " * 41, "at most 40 levels of nesting, got more levels"),
    "aliases": ("a: &a [x]\n" + "b: [*a,*a]\n" * 20_000, "no & and * references, got 'a'"),
}


@pytest.mark.slow
@pytest.mark.parametrize(("text", "message"), YAML.values(), ids=YAML.keys())
def test_a_file_that_grows_when_it_is_read_is_refused(text: str, message: str) -> None:
    assert message in refused(read_text, text, "big.yaml")


@settings(max_examples=50)
@given(st.text("\r\nä: {x", max_size=300), st.integers(1, 200))
def test_a_text_is_read_whole_or_refused_by_its_size(text: str, most: int) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder, "text")
        path.write_bytes(text.encode())
        if len(text.encode()) <= most:
            assert read_text_file(path, most) == text
        else:
            assert f"at most {most:,} bytes, got more" in refused(read_text_file, path, most)


def test_what_never_ends_is_read_no_further_than_is_allowed() -> None:
    assert "at most 5,000,000 bytes, got more; split the file" in refused(read_file, "/dev/zero")


def test_a_pipe_is_read_whole_and_a_silent_one_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """As the shell gives one: ``--file <(command)``."""
    text, (reader, writer) = "rows: 6\n" * 20_000, os.pipe()

    def write() -> None:
        with os.fdopen(writer, "w") as stream:
            stream.write(text)

    thread = threading.Thread(target=write)
    thread.start()
    assert read_text_file(f"/dev/fd/{reader}", limits.LARGEST_YAML) == text
    thread.join()
    os.close(reader)
    monkeypatch.setattr(reading, "LONGEST_WAIT", 0.1)
    reader, writer = os.pipe()
    message = "nothing for 0.1 seconds"
    assert message in refused(read_text_file, f"/dev/fd/{reader}", 1000)
    os.close(reader)
    os.close(writer)


def test_a_pipe_that_nobody_writes_to_keeps_nobody_waiting(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "LONGEST_WAIT", 0.1)
    os.mkfifo(tmp_path / "pipe")
    assert "nothing for" in refused(read_text_file, tmp_path / "pipe", 1000)


@pytest.mark.parametrize("read", [yaml_files, yaml_files_below])
def test_a_folder_of_too_many_files_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, read: object
) -> None:
    monkeypatch.setattr("diagnose.paths.MOST_FILES", 3)
    for number in range(4):
        (tmp_path / f"{number}.yaml").touch()
    assert refused(read, tmp_path) == (
        f"{tmp_path}: expected at most 3 YAML files, got 4; "
        "move those that are not in use to another place"
    )
    (tmp_path / "0.yaml").unlink()
    assert [path.name for path in read(tmp_path)] == ["1.yaml", "2.yaml", "3.yaml"]


def test_a_folder_that_holds_a_whole_disk_is_not_searched_for_rules(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("diagnose.paths.MOST_ENTRIES", 5)
    for number in range(6):
        (tmp_path / f"{number}.txt").touch()
    assert "a folder of rules, with at most 5 files in it" in refused(yaml_files_below, tmp_path)


HOSTILE = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, ({most}, {most}))
from pathlib import Path
from diagnose.errors import RowfaultError
from diagnose.knowledge.base import load_knowledge
from diagnose.formats.strictyaml import read_text
from diagnose.machine.assemble import machine_in
text = Path(sys.argv[1]).read_text()
try:
    machine_in(read_text(text, "big.yaml"), load_knowledge())
except RowfaultError as error:
    print(str(error)[:80])
"""


@pytest.mark.slow
@pytest.mark.parametrize("name", ["lists", "rows"])
def test_what_is_refused_is_refused_in_little_memory(tmp_path: Path, name: str) -> None:
    rows = LAYOUT.format(rows=MOST, named="1-120," * 100_000 + "1", name="big")
    path = tmp_path / "big.yaml"
    path.write_text({"lists": YAML["lists"][0], "rows": rows}[name])
    script = HOSTILE.format(most=SMALL)
    command = [sys.executable, "-c", script, str(path)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("big.yaml:")
