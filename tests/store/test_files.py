"""The casebook's file is its owner's alone, and can be read where it cannot be written."""

from __future__ import annotations

import hashlib
import os
import shutil
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from diagnose.observations.entries import Noted, new_event
from diagnose.observations.state import replay
from diagnose.store.casebook import open_casebook
from tests.store import older
from tests.store.damage import sound

ROOT = Path(__file__).resolve().parents[2]
OLDER = Path(__file__).parent / "older"
OPEN = replay(older.still_open()).id
NOBODY = 65534

unprivileged = pytest.mark.skipif(os.name != "posix", reason="no file modes")


def modes(folder: Path) -> dict[str, int]:
    return {path.name: stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()}


@unprivileged
@pytest.mark.parametrize("umask", [0o000, 0o022, 0o077])
def test_the_casebook_and_what_is_beside_it_is_its_owners_alone(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        with open_casebook(f"sqlite:///{tmp_path / 'casebook.sqlite'}") as casebook:
            casebook.merge(older.proven())
            seen = modes(tmp_path)
    finally:
        os.umask(before)
    assert set(seen) == {"casebook.sqlite", "casebook.sqlite-wal", "casebook.sqlite-shm"}
    assert set(seen.values()) == {0o600}


@unprivileged
def test_files_that_others_could_read_are_tightened(tmp_path: Path) -> None:
    file = tmp_path / "casebook.sqlite"
    shutil.copy(OLDER / "casebook.sqlite", file)
    file.chmod(0o664)
    left = Path(f"{file}-journal")
    left.touch(0o644)
    with open_casebook(f"sqlite:///{file}") as casebook:
        casebook.entries()
        assert set(modes(tmp_path).values()) == {0o600}


@pytest.mark.slow
def test_two_who_make_the_casebook_at_once_make_one(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "diagnose", "cases", "list"]
    variables = {**os.environ, "ROWFAULT_HOME": str(tmp_path)}
    both = [subprocess.Popen(command, cwd=ROOT, env=variables) for _ in range(3)]
    assert [process.wait() for process in both] == [0, 0, 0]
    assert [path.name for path in tmp_path.glob("*sqlite*")] == ["casebook.sqlite"]
    assert not list(tmp_path.glob(".casebook*"))


def test_a_casebook_that_is_waited_for_is_made_whole(tmp_path: Path) -> None:
    with open_casebook(f"sqlite:///{tmp_path / 'casebook.sqlite'}", patience=1.0) as casebook:
        assert casebook.ids() == []


def killed_with_a_log(folder: Path) -> None:
    """A casebook whose last entries are in its log alone, as after a kill."""
    code = (
        "import os, signal, sys\n"
        "from diagnose.store.casebook import open_casebook\n"
        "from diagnose.observations.entries import Noted, new_event\n"
        f"with open_casebook('sqlite:///{folder}/casebook.sqlite') as casebook:\n"
        f"    casebook.add('{OPEN}', new_event(Noted('in the log'), 'Ann'))\n"
        "    os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    assert (folder / "casebook.sqlite-wal").stat().st_size > 0
    (folder / "casebook.sqlite-shm").unlink()


def now(folder: Path) -> None:
    (folder / "sound.sqlite").rename(folder / "casebook.sqlite")


def before(folder: Path) -> None:
    (folder / "sound.sqlite").unlink()
    shutil.copy(OLDER / "casebook.sqlite", folder)


def with_a_log(folder: Path) -> None:
    now(folder)
    killed_with_a_log(folder)


@pytest.fixture(params=[now, before, with_a_log], ids=lambda make: make.__name__)
def closed(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """A casebook that everybody may read and nobody may write."""
    folder = tmp_path / "closed"
    folder.mkdir()
    sound(folder)
    request.param(folder)
    for path in folder.iterdir():
        path.chmod(0o444)
    folder.chmod(0o555)
    for parent in (tmp_path, *tmp_path.parents):
        if parent != parent.parent and not parent.stat().st_mode & stat.S_IXOTH:
            parent.chmod(parent.stat().st_mode | stat.S_IXOTH)
    yield folder
    folder.chmod(0o755)


def contents(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.iterdir()}


def as_nobody(folder: Path, words: list[str]) -> subprocess.CompletedProcess[str]:
    code = (
        "import sys, os\n"
        "from diagnose.ui.cli.root import rowfault\n"
        "from diagnose.knowledge.base import load_knowledge\n"
        "from diagnose.store.casebook import open_casebook\n"
        "import diagnose.machine.assemble, diagnose.ui.cli.cases\n"
        "load_knowledge(); open_casebook('sqlite://').close()\n"
        f"if os.geteuid() == 0: os.setegid({NOBODY}); os.seteuid({NOBODY})\n"
        "from diagnose.__main__ import main\n"
        "sys.argv = ['rowfault', *sys.argv[1:]]\n"
        "main()\n"
    )
    variables = {**os.environ, "ROWFAULT_CASEBOOK": f"sqlite:///{folder}/casebook.sqlite"}
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        cwd=ROOT,
        env={**variables, "ROWFAULT_NO_CACHE": "1", "ROWFAULT_HOME": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.slow
@unprivileged
def test_a_casebook_that_cannot_be_written_is_listed_shown_and_exported(
    closed: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    seen = contents(closed)
    out = tmp_path / "out"
    out.mkdir(mode=0o777)
    out.chmod(0o777)
    done = as_nobody(closed, ["cases", "list"])
    assert (done.returncode, done.stdout.count("2026030"), done.stderr) == (0, 3, "")
    done = as_nobody(closed, ["cases", "export", "--all", "--to", str(out)])
    assert (done.stderr, done.returncode, len(list(out.iterdir()))) == ("", 0, 3)
    in_the_log = "in the log" in (out / f"{OPEN}.yaml").read_text(encoding="utf-8")
    assert in_the_log == ("with_a_log" in request.node.name)
    done = as_nobody(closed, ["cases", "import", str(OLDER / f"{OPEN}.yaml")])
    assert (done.returncode, done.stdout) == (1, "")
    assert "expected a casebook that can be written" in done.stderr
    assert contents(closed) == seen


def test_a_read_only_casebook_takes_nothing(tmp_path: Path) -> None:
    file = sound(tmp_path)
    with open_casebook(f"sqlite:///file:{file}?mode=ro&uri=true") as casebook:
        assert len(casebook.ids()) == 3
        with pytest.raises(Exception, match="expected a casebook that can be written"):
            casebook.add(OPEN, new_event(Noted("hose chafed"), "Ann"))
