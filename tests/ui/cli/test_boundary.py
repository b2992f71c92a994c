"""Whatever goes wrong ends in a message and a status; what nobody foresaw is written down."""

from __future__ import annotations

import os
import pwd
import signal
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import click
import pytest
from click.testing import CliRunner, Result

from diagnose.errors import RowfaultError
from diagnose.formats import textfile as reading
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.forms import LONGEST_TEXT
from diagnose.ui.cli.ending import FAULT_OF_OURS, MOST_KEPT, STEM
from diagnose.ui.cli.options import (
    LONGEST_WORDS,
    NameOrPath,
    Words,
)
from diagnose.ui.cli.root import rowfault
from tests.ui.hostile import HALF, MARKS, commands, steering

LINE = ["machine", "list"]


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A user with folders of their own and nothing in them, who stands in another."""
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    for name, variable in (("home", "ROWFAULT_HOME"), ("cache", "XDG_CACHE_HOME")):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(variable, str(tmp_path / name))
    monkeypatch.delenv("ROWFAULT_CASEBOOK", raising=False)
    return tmp_path


def run(words: list[str], **extra: Any) -> Result:
    return CliRunner().invoke(rowfault, words, prog_name="rowfault", **extra)


def failing_with(error: BaseException, monkeypatch: pytest.MonkeyPatch) -> Result:
    def fail(*_: object) -> NoReturn:
        raise error

    monkeypatch.setattr("diagnose.ui.cli.machine._list_all", fail)
    return run(LINE)


def details(home: Path) -> list[Path]:
    return sorted((home / "cache" / "rowfault" / "errors").glob(f"{STEM}*"))


class Unspeakable(Exception):
    """An error that cannot even be said."""

    def __str__(self) -> str:
        raise ValueError


class Odd(BaseException):
    """What no library should raise."""


@pytest.mark.parametrize(
    "error", [KeyError("row"), RecursionError(), AssertionError(), SystemError(), Unspeakable()]
)
def test_what_nobody_foresaw_is_one_message_and_a_file(
    home: Path, monkeypatch: pytest.MonkeyPatch, error: Exception
) -> None:
    result = failing_with(error, monkeypatch)
    [file] = details(home)
    assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (FAULT_OF_OURS, "", 1)
    assert str(file) in result.stderr
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert type(error).__name__ in file.read_text()
    assert "list_all" in file.read_text()


def test_details_hold_no_password(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    failing_with(KeyError("postgresql://me:p@ss@word@host/db"), monkeypatch)
    text = details(home)[0].read_text()
    assert ("postgresql://..." in text, "ss@word" in text) == (True, False)


def test_old_details_go(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(MOST_KEPT + 3):
        failing_with(KeyError("row"), monkeypatch)
    assert len(details(home)) == MOST_KEPT


def test_details_that_can_be_written_nowhere_are_left_out(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    nowhere = home / "file"
    nowhere.touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(nowhere))
    monkeypatch.setattr("tempfile.tempdir", str(nowhere))
    result = failing_with(KeyError("row"), monkeypatch)
    assert (result.exit_code, result.stderr.count("\n")) == (FAULT_OF_OURS, 1)
    assert "could not be written" in result.stderr


def chained(error: Exception, cause: BaseException) -> Exception:
    error.__cause__ = cause
    return error


@pytest.mark.parametrize(
    ("error", "status", "says"),
    [
        (MemoryError(), 1, "Error: not enough memory for this; leave out runs"),
        (chained(RuntimeError(), MemoryError()), 1, "Error: not enough memory"),
        (KeyboardInterrupt(), 130, ""),
        (chained(RuntimeError("cannot set name"), KeyboardInterrupt()), 130, ""),
        (PermissionError(13, "Permission denied", b"mine"), 1, "Error: mine: Permission denied\n"),
        (PermissionError(13, "Permission denied", Path("mine")), 1, "Error: mine: Permission"),
        (TimeoutError(), 1, "Error: TimeoutError\n"),
        (RowfaultError("expected a,\ngot b"), 1, "Error: expected a,\\ngot b\n"),
    ],
)
def test_what_was_foreseen_is_said(
    home: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, status: int, says: str
) -> None:
    result = failing_with(error, monkeypatch)
    assert (result.exit_code, result.stdout, details(home)) == (status, "", [])
    assert result.stderr.startswith(says)
    assert bool(result.stderr) == bool(says)


STARTED = "from diagnose.__main__ import main; main()"


@pytest.mark.parametrize("error", ["MemoryError", "KeyError", "ImportError", "KeyboardInterrupt"])
def test_what_fails_before_there_is_a_command_is_told_too(home: Path, error: str) -> None:
    code = (
        "import sys\n"
        "class Failing:\n"
        "    def find_spec(self, name, *_):\n"
        f"        if name == 'click': raise {error}\n"
        f"sys.meta_path.insert(0, Failing())\n{STARTED}"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    statuses = {"MemoryError": 1, "KeyboardInterrupt": 130}
    assert ended.returncode == statuses.get(error, FAULT_OF_OURS)
    assert ended.stderr.count(b"\n") == (error != "KeyboardInterrupt")


INTERRUPTING = """
import sys
from diagnose.__main__ import main
calls = 0
def count(frame, event, _):
    global calls
    calls += event == "call"
    if calls == {at}:
        sys.setprofile(None)
        raise KeyboardInterrupt
sys.setprofile(count)
"""


@pytest.mark.slow
@pytest.mark.parametrize("at", [2, 20, 3_000, 60_000, 100_000, 200_000])
def test_ctrl_c_is_quiet_wherever_it_comes(at: int) -> None:
    code = f"{INTERRUPTING.format(at=at)}\nsys.setprofile(count)\nmain()"
    words = ["drill", "mounted-6", "--seed", "1"]
    ended = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        stdin=subprocess.DEVNULL,
        check=False,
    )
    assert ended.returncode in (0, 130, -signal.SIGINT)
    assert ended.stderr == b""


CLOSED = ["<&-", ">&-", "2>&-", "<&- 2>&-", "<&- >&- 2>&-"]
ASKING = ["work mounted-6 --scratch", "work mounted-6", "cases read swapped-coil"]


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
@pytest.mark.parametrize(
    ("line", "closed"),
    [*((line, "<&-") for line in ASKING), *(("cases list", each) for each in CLOSED)],
)
def test_closed_streams_are_no_trouble(line: str, closed: str, home: Path) -> None:
    words = f"{sys.executable} -m diagnose {line} {closed}"
    ended = subprocess.run(words, shell=True, capture_output=True, check=False)
    assert ended.returncode in (0, 1)
    assert (b"Traceback" in ended.stderr, details(home)) == (False, [])
    if (casebook := home / "home" / "casebook.sqlite").exists():
        assert casebook.read_bytes().startswith(b"SQLite format 3")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_an_error_that_cannot_be_told_keeps_its_status() -> None:
    with open("/dev/full", "wb") as full:
        words = [sys.executable, "-m", "diagnose", "machine", "show", "none"]
        assert subprocess.run(words, stdout=full, stderr=full, check=False).returncode == 1


@pytest.mark.slow
def test_text_that_is_typed_is_text_and_short_enough(home: Path) -> None:
    assert LONGEST_WORDS == LONGEST_TEXT
    wrong = {"half": HALF, "long": "x" * 100_001, **MARKS}
    for words, command in commands():
        for param in command.params:
            assert not isinstance(param.type, type(click.STRING)) or param.is_flag
            for name, text in wrong.items():
                for line in lines_with(command, param, text):
                    result = run([*words, *line])
                    refused = isinstance(param.type, Words) and name not in SHOWN_WRITTEN_OUT
                    assert result.exit_code in ({2} if refused else {0, 1, 2}), (line, name)
                    steers = steering(result.stdout_bytes) | steering(result.stderr_bytes)
                    assert steers == set(), (words, param.name, name)


SHOWN_WRITTEN_OUT = ("override", "isolate", "separator")
"""What belongs to some people's writing; it is taken, and written out where it is shown."""


def lines_with(command: click.Command, wanted: click.Parameter, text: str) -> list[list[str]]:
    """A line in which a parameter has a text and the others that are needed have something."""
    if not isinstance(wanted.type, Words | NameOrPath | click.Path | click.Choice):
        return []
    line = []
    for param in command.params:
        given = text if param is wanted else "x"
        if isinstance(param, click.Argument):
            line += [given]
        elif param is wanted or param.required:
            line += [param.opts[0], given]
    return [line]


NEEDED = {
    "rank": ["mounted-6", "response=PPPPPF"],
    "plan": ["mounted-6", "response=PPPPPF"],
    "drill": ["mounted-6", "--play", "random"],
    "show": ["mounted-6"],
}


@pytest.mark.slow
@pytest.mark.parametrize("number", ["9" * 20, "9" * 5000, "-1", "1e3"])
def test_a_number_of_any_size_is_no_trouble(number: str) -> None:
    for words, command in commands():
        for param in command.params:
            if isinstance(param.type, click.types.IntParamType):
                line = [*words, *NEEDED.get(words[-1], []), param.opts[0], number]
                assert run(line).exit_code in (0, 1, 2), line


@pytest.fixture
def homeless(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody whom the system does not know, with no home."""

    def unknown(_: object) -> NoReturn:
        raise KeyError("getpwuid(): uid not found")

    for name in ("HOME", "LOGNAME", "USER", "LNAME", "USERNAME", "ROWFAULT_HOME"):
        monkeypatch.delenv(name, raising=False)
    for name in ("XDG_CACHE_HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(pwd, "getpwuid", unknown)


@pytest.mark.usefixtures("homeless")
@pytest.mark.parametrize(
    ("line", "status", "says"),
    [
        ("rank mounted-6 response=PPPPPF", 0, "row 6"),
        ("work mounted-6 --scratch", 0, "Nothing is kept"),
        ("drill mounted-6", 0, "Stopped"),
        ("work mounted-6", 1, "expected a home folder to keep things in, got none"),
        ("cases list", 1, "set HOME or ROWFAULT_HOME"),
        ("drill --progress", 1, "set HOME or ROWFAULT_HOME"),
        ("cases learn", 1, "set HOME or ROWFAULT_HOME"),
        ("cases learn --accept", 1, "say --who NAME"),
        ("cases learn --accept --who Ann", 1, "set HOME or ROWFAULT_HOME"),
        ("cases learn --forget", 0, "No priors had been accepted"),
    ],
)
def test_somebody_without_a_home_can_rank(line: str, status: int, says: str) -> None:
    result = run(line.split())
    assert (result.exit_code, says in result.output) == (status, True), result.output


def test_a_layout_that_fits_in_no_case_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "long.yaml"
    text = load_knowledge().layouts["mounted-6"].read_text(encoding="utf-8")
    text = text.replace("id: mounted-6", "id: mine") + "#" * 100_000
    path.write_text(text, encoding="utf-8")
    assert run(["machine", "show", str(path)]).exit_code == 0
    for line in ("work", "work --scratch"):
        result = run([*line.split(), str(path)])
        assert (result.exit_code, "at most 100,000 bytes" in result.stderr) == (1, True)


def lines_that_read(path: Path) -> list[list[str]]:
    named = str(path)
    return [
        ["rank", "--file", named],
        ["rank", "mounted-6", "--log", named],
        ["plan", "--file", named],
        ["rank", f"{named}", "response=P"],
        ["machine", "check", named],
        ["work", "mounted-6", "--scratch", "--answers", named],
        ["drill", "mounted-6", "--answers", named],
        ["cases", "import", named],
        ["report", f"{named}", "-o", "-", "--format", "md"],
    ]


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="this system has no endless device")
def test_what_never_ends_is_read_up_to_a_limit() -> None:
    for line in lines_that_read(Path("/dev/zero")):
        result = run(line)
        assert (result.exit_code, "at most" in result.stderr) == (1, True), (line, result.output)


@pytest.mark.parametrize("kind", ["folder", "pipe", "unreadable", "garbage", "missing"])
def test_what_is_no_file_to_read_is_told(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "LONGEST_WAIT", 0.05)
    path = tmp_path / "named.yaml"
    make: dict[str, Callable[[], object]] = {
        "folder": path.mkdir,
        "pipe": lambda: os.mkfifo(path),
        "unreadable": lambda: (path.touch(mode=0), path),
        "garbage": lambda: path.write_bytes(b"\xff\xfe\x00"),
        "missing": lambda: None,
    }
    make[kind]()
    for line in lines_that_read(path):
        result = run(line)
        assert result.exit_code in (1, 2) or kind == "unreadable", (line, result.output)
        assert result.stderr.startswith(("Error: ", "Usage: ")) or kind == "unreadable"


def test_a_pipe_that_is_written_late_is_read(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)

    def write() -> None:
        with path.open("wb") as pipe:
            pipe.write(b"machine: mounted-6\n" * 10_000)

    writer = threading.Thread(target=write)
    writer.start()
    assert len(reading.read_at_most(path, 10**6)) == 190_000
    writer.join()


def test_a_file_never_takes_the_place_of_one_that_came_meanwhile(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = tmp_path / "sheet.md"
    fsync = os.fsync

    def meanwhile(descriptor: int) -> None:
        fsync(descriptor)
        mine.write_text("mine")

    monkeypatch.setattr(os, "fsync", meanwhile)
    result = run(["ready", "mounted-6", "-o", str(mine)])
    assert (result.exit_code, mine.read_text()) == (1, "mine")
    assert [path.name for path in tmp_path.glob("*sheet*")] == ["sheet.md"]


@pytest.mark.parametrize(
    "line",
    [
        ["machine", "check", "a\0b"],
        ["rules", "check", "a\0b"],
        ["manual", "a\0b"],
        ["cases", "export", "last", "--to", "a\0b"],
        ["rank", "mounted-6", "--log", "a\0b"],
    ],
)
def test_a_path_with_a_zero_byte_is_refused_like_any_other(line: list[str]) -> None:
    ended = CliRunner().invoke(rowfault, line)
    assert ended.exit_code == 2
    assert "zero byte" in ended.stderr
