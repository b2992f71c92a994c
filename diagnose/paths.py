"""Where the data folders are: the ones that ship, and the user's own.

A checkout has ``rules/``, ``graphs/`` and ``casebook/`` at its root; an installed package
carries them in ``diagnose/data/``. The user's own folder holds the same three and adds to them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

import platformdirs

from diagnose.errors import FileProblems, Place, Problem, Unavailable, on_one_line
from diagnose.record import record
from diagnose.tolerances import MOST_ENTRIES, MOST_FILES

HOME_VARIABLE = "ROWFAULT_HOME"
NOWHERE = Path(os.devnull, "rowfault")
"""Stands for the folder of somebody who has no home; nothing is ever found or kept there."""


@record
class GraphFiles:
    """Every file of what is known about machines, those that ship before the user's own."""

    parts: tuple[Path, ...]
    checks: tuple[Path, ...]
    circumstances: tuple[Path, ...]
    setups: tuple[Path, ...]
    machines: tuple[Path, ...]
    rates: tuple[Path, ...]

    @property
    def every(self) -> tuple[Path, ...]:
        """All of them in one.

        >>> parts, rates = (Path("valve.yaml"),), (Path("rates.yaml"),)
        >>> [path.name for path in GraphFiles(parts, (), (), (), (), rates).every]
        ['valve.yaml', 'rates.yaml']
        """
        entries = (*self.parts, *self.checks, *self.circumstances, *self.setups)
        return (*entries, *self.machines, *self.rates)


@record
class Folders:
    """One root with the three data folders in it (any of them may be missing)."""

    root: Path

    @property
    def rules(self) -> Path:
        """The rule base.

        >>> Folders(Path("mine")).rules.name
        'rules'
        """
        return self.root / "rules"

    @property
    def casebook(self) -> Path:
        """Worked cases.

        >>> Folders(Path("mine")).casebook.name
        'casebook'
        """
        return self.root / "casebook"

    @property
    def machines(self) -> Path:
        """Layouts, one file per machine.

        >>> Folders(Path("mine")).machines.name
        'machines'
        """
        return self.root / "graphs" / "machines"

    @property
    def parts(self) -> Path:
        """Part kinds.

        >>> Folders(Path("mine")).parts.name
        'parts'
        """
        return self.root / "graphs" / "parts"

    @property
    def checks(self) -> Path:
        """The checks.

        >>> Folders(Path("mine")).checks.name
        'checks'
        """
        return self.root / "graphs" / "checks"

    @property
    def circumstances(self) -> Path:
        """Circumstances of runs and of cases.

        >>> Folders(Path("mine")).circumstances.name
        'circumstances'
        """
        return self.root / "graphs" / "circumstances"

    @property
    def setups(self) -> Path:
        """What state the machine is in while work is done on it.

        >>> Folders(Path("mine")).setups.as_posix()
        'mine/graphs/setups'
        """
        return self.root / "graphs" / "setups"

    @property
    def rates(self) -> Path:
        """What parts and handing over are worth: one file.

        >>> Folders(Path("mine")).rates.as_posix()
        'mine/graphs/rates.yaml'
        """
        return self.root / "graphs" / "rates.yaml"

    @property
    def learning(self) -> Path:
        """How much the shipped priors weigh against closed cases: one file.

        >>> Folders(Path("mine")).learning.as_posix()
        'mine/graphs/learning.yaml'
        """
        return self.root / "graphs" / "learning.yaml"

    @property
    def drills(self) -> Path:
        """What is drawn for practice: one file.

        >>> Folders(Path("mine")).drills.as_posix()
        'mine/graphs/drills.yaml'
        """
        return self.root / "graphs" / "drills.yaml"

    @property
    def words(self) -> Path:
        """Words and their meanings: one file.

        >>> Folders(Path("mine")).words.as_posix()
        'mine/graphs/words.yaml'
        """
        return self.root / "graphs" / "words.yaml"

    @property
    def priors(self) -> Path:
        """The priors that were learned from closed cases and accepted: one file, if any.

        >>> Folders(Path("mine")).priors.as_posix()
        'mine/priors.yaml'
        """
        return self.root / "priors.yaml"


def shipped() -> Folders:
    """The folders that ship with the program. Raises `Unavailable` when they are missing.

    >>> shipped().machines.name
    'machines'
    """
    package = Path(__file__).resolve().parent
    for root in (package / "data", package.parent):
        if (root / "graphs").is_dir():
            return Folders(root)
    raise Unavailable(
        f"expected the folder graphs in {package / 'data'} or beside {package}, found neither; "
        "install rowfault again"
    )


def own() -> Folders:
    """The user's own folders: ``ROWFAULT_HOME`` when set, else the platform's place for data.

    Raises `Unavailable` when ``ROWFAULT_HOME`` names no folder.
    """
    named = os.environ.get(HOME_VARIABLE)
    if named and not Path(named).is_dir():
        why = "a file" if Path(named).exists() else "nothing there"
        raise Unavailable(
            f"{HOME_VARIABLE}={on_one_line(named)}: expected a folder, got {why}; "
            f"make the folder, or unset {HOME_VARIABLE}"
        )
    return Folders(Path(named) if named else _user_folder() or NOWHERE)


def own_to_write() -> Folders:
    """The same, to write there. Raises `Unavailable` where there is no home either."""
    folders = own()
    if folders.root == NOWHERE:
        raise Unavailable(
            f"expected a home folder to keep things in, got none: HOME is not set; set HOME or "
            f"{HOME_VARIABLE} to a folder of yours"
        )
    return folders


def _user_folder() -> Path | None:
    """The platform's place for data; None for somebody who has no home."""
    try:
        return platformdirs.user_data_path("rowfault", False)
    except RuntimeError:
        return None


def graph_files(roots: Sequence[Folders]) -> GraphFiles:
    """The files below several roots. Raises `Unavailable` when a folder cannot be read.

    >>> [path.name for path in graph_files([shipped()]).rates]
    ['rates.yaml']
    """
    return GraphFiles(
        parts=tuple(path for root in roots for path in yaml_files(root.parts)),
        checks=tuple(path for root in roots for path in yaml_files(root.checks)),
        circumstances=tuple(path for root in roots for path in yaml_files(root.circumstances)),
        setups=tuple(path for root in roots for path in yaml_files(root.setups)),
        machines=tuple(path for root in roots for path in yaml_files(root.machines)),
        rates=tuple(root.rates for root in roots if root.rates.is_file()),
    )


def yaml_files(folder: Path) -> list[Path]:
    """The YAML files of a folder in order of name; none when there is no such folder.

    Raises `FileProblems` when there are too many, `Unavailable` when it cannot be read.

    >>> yaml_files(Path("no such folder"))
    []
    """
    try:
        return _not_too_many(folder, (path for path in folder.iterdir() if _is_yaml(path.name)))
    except (FileNotFoundError, NotADirectoryError):
        return []
    except OSError as error:
        raise Unavailable(f"expected a folder that can be read, got {error}") from error


def yaml_files_below(folder: Path) -> list[Path]:
    """Those of a folder and of all folders in it, in order of path; none when there is none.

    Raises `FileProblems` when there are too many, or too much else beside them.

    >>> yaml_files_below(Path("no such folder"))
    []
    """
    return _not_too_many(folder, _below(folder))


def _below(folder: Path) -> Iterator[Path]:
    passed = 0
    for where, inner, names in os.walk(folder):
        passed += len(inner) + len(names)
        if passed > MOST_ENTRIES:
            expected = f"a folder of rules, with at most {MOST_ENTRIES:,} files in it"
            remedy = "name the folder that holds the rules and nothing else"
            raise FileProblems([Problem(Place(str(folder)), expected, "more", remedy)])
        yield from (Path(where, name) for name in names if _is_yaml(name))


def _is_yaml(name: str) -> bool:
    return os.path.splitext(name)[1] in (".yaml", ".yml")


def _not_too_many(folder: Path, paths: Iterator[Path]) -> list[Path]:
    found = sorted(paths)
    if len(found) > MOST_FILES:
        remedy = "move those that are not in use to another place"
        expected = f"at most {MOST_FILES} YAML files"
        raise FileProblems([Problem(Place(str(folder)), expected, f"{len(found):,}", remedy)])
    return found
