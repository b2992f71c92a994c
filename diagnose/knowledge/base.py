"""Everything that is known before a case begins, loaded once and checked as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Generic, TypeVar

from diagnose.errors import FileProblems, Place, Problem
from diagnose.knowledge.checks import Check
from diagnose.knowledge.circumstances import Circumstance, Prepare
from diagnose.knowledge.model import check_model, in_order, read_model
from diagnose.knowledge.parts import ANY_SETUP, PartKind
from diagnose.knowledge.places import Folders, own, shipped, yaml_files
from diagnose.knowledge.priors import SHIPPED, read_priors, relearned
from diagnose.knowledge.setups import Rates, Setup, change_minutes
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.wrong import Fault, unknown

Entry = TypeVar("Entry", PartKind, Check, Circumstance, Setup)


@dataclass(frozen=True)
class Knowledge:
    """Part kinds, checks, circumstances, set-ups by id; layout files by machine id; rates.

    ``priors`` is the id of the set of priors that the part kinds have; ``frames`` has the part
    kinds of those machine frames that have priors of their own.
    """

    parts: Mapping[str, PartKind]
    checks: Mapping[str, Check]
    circumstances: Mapping[str, Circumstance]
    layouts: Mapping[str, Path]
    setups: Mapping[str, Setup]
    rates: Rates
    priors: str = SHIPPED
    frames: Mapping[str, Mapping[str, PartKind]] = field(default_factory=dict)

    def parts_of(self, frame: str | None) -> Mapping[str, PartKind]:
        """The part kinds as machines of a frame have them.

        >>> known = load_knowledge()
        >>> known.parts_of("folding").keys() == known.parts.keys()
        True
        """
        return self.frames.get(frame or "", self.parts)

    def of_scope(self, scope: str) -> Mapping[str, Circumstance]:
        """The circumstances of runs (``run``) or of the machine's past (``case``).

        >>> "oil" in load_knowledge().of_scope("run"), "oil" in load_knowledge().of_scope("case")
        (True, False)
        """
        return self._scopes[scope]

    @cached_property
    def _scopes(self) -> Mapping[str, Mapping[str, Circumstance]]:
        found: dict[str, dict[str, Circumstance]] = {"run": {}, "case": {}}
        for name, each in self.circumstances.items():
            found[each.scope][name] = each
        return found

    def change_minutes(self, before: str, after: str) -> float:
        """Minutes from one set-up of the machine to another; none when any will do.

        >>> load_knowledge().change_minutes("bleeding", "running")
        5.0
        >>> load_knowledge().change_minutes("bleeding", "any")
        0.0
        """
        if ANY_SETUP in (before, after):
            return 0.0
        return change_minutes(self.setups[before], self.setups[after])

    def prepare_minutes(self, prepare: Prepare) -> float:
        """Minutes of putting a circumstance right, those of entering a lasting set-up included.

        >>> known = load_knowledge()
        >>> oil = known.circumstances["oil"].prepare
        >>> known.prepare_minutes(oil) == known.setups["warm-oil"].enter_minutes
        True
        """
        entered = self.setups[prepare.setup].enter_minutes if prepare.setup else 0.0
        return prepare.minutes + entered


def load_knowledge(extra: Path | None = None, learned: bool = True) -> Knowledge:
    """What ships, with the user's own folder (or ``extra`` in its place) added to it.

    The priors are those learned and accepted there, if any, unless ``learned`` is false.
    Raises `FileProblems` with everything that is wrong in any of the files.

    >>> sorted(load_knowledge().checks)
    ['bleed', 'response']
    """
    added = Folders(extra) if extra else own()
    stamp = _stamp(added.priors) if learned else None
    return _relearned(added, stamp) if stamp else _load(added)


def _stamp(path: Path) -> tuple[int, ...] | None:
    """What changes when a file is replaced; None when there is none."""
    try:
        status = path.stat()
    except (FileNotFoundError, NotADirectoryError):
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino


@lru_cache(maxsize=8)
def _relearned(added: Folders, _stamp: tuple[int, ...]) -> Knowledge:
    """The user's knowledge with the accepted priors, read anew when their file was replaced."""
    known = _load(added)
    found = read_priors(read_file(added.priors), known.parts)
    fleet = relearned(known.parts, found.parts)
    frames = {frame: relearned(fleet, priors) for frame, priors in found.frames.items()}
    return replace(known, parts=fleet, priors=found.id, frames=MappingProxyType(frames))


@cache
def _load(added: Folders) -> Knowledge:
    roots = (shipped(), added)
    parts = _shelf(PartKind, [path for root in roots for path in yaml_files(root.parts)])
    checks = _shelf(Check, [path for root in roots for path in yaml_files(root.checks)])
    circumstances = _shelf(
        Circumstance, [path for root in roots for path in yaml_files(root.circumstances)]
    )
    setups = _shelf(Setup, [path for root in roots for path in yaml_files(root.setups)])
    layouts, problems = _layouts([path for root in roots for path in yaml_files(root.machines)])
    problems += parts.problems + checks.problems + circumstances.problems + setups.problems
    if not problems:
        for name, kind in parts.entries.items():
            problems += parts.located(name, _part_faults(kind, parts.entries, checks.entries))
            problems += parts.located(name, _work_faults(kind, parts.entries, setups.entries))
        for name, check in checks.entries.items():
            problems += checks.located(name, _wanted(check, setups.entries))
        for name, each in circumstances.entries.items():
            problems += circumstances.located(name, _state_faults(each, checks.entries))
            problems += circumstances.located(name, _prepare_faults(each, setups.entries))
    if problems:
        raise FileProblems(in_order(problems))
    return Knowledge(
        parts.frozen,
        checks.frozen,
        circumstances.frozen,
        MappingProxyType(layouts),
        setups.frozen,
        _rates(roots),
    )


def _rates(roots: Sequence[Folders]) -> Rates:
    """The user's own rates when there are some, else those that ship."""
    files = [root.rates for root in roots if root.rates.is_file()]
    return read_model(files[-1], Rates)


@dataclass
class _Shelf(Generic[Entry]):
    """Entries of one sort with the documents they came from."""

    entries: dict[str, Entry] = field(default_factory=dict)
    documents: dict[str, Document] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def frozen(self) -> Mapping[str, Entry]:
        return MappingProxyType(self.entries)

    def located(self, name: str, faults: Iterator[Fault]) -> list[Problem]:
        document = self.documents[name]
        return [wrong.at(document.place(path)) for path, wrong in faults]


def _shelf(kind: type[Entry], files: Sequence[Path]) -> _Shelf[Entry]:
    shelf: _Shelf[Entry] = _Shelf()
    for path in files:
        try:
            document = read_file(path)
        except FileProblems as error:
            shelf.problems += error.problems
            continue
        entry, problems = check_model(document, kind)
        shelf.problems += problems
        if entry is not None:
            shelf.problems += _id_problems(entry.id, path, document, shelf.documents)
            shelf.entries[entry.id] = entry
            shelf.documents[entry.id] = document
    return shelf


def _id_problems(
    name: str, path: Path, document: Document, taken: Mapping[str, Document]
) -> Iterator[Problem]:
    where = document.place(("id",))
    if name != path.stem:
        yield Problem(where, f"id: {path.stem}, as the file is called", name, "rename one of them")
    if name in taken:
        remedy = f"{taken[name].source} has it; choose another"
        yield Problem(where, "an id that is not taken", repr(name), remedy)


def _layouts(files: Sequence[Path]) -> tuple[dict[str, Path], list[Problem]]:
    layouts: dict[str, Path] = {}
    problems = []
    for path in files:
        if path.stem in layouts:
            remedy = f"{layouts[path.stem]} has it; rename the file and its id"
            where = Place(str(path))
            problems.append(Problem(where, "a machine id that is not taken", path.stem, remedy))
        layouts.setdefault(path.stem, path)
    return layouts, problems


def _part_faults(
    kind: PartKind, parts: Mapping[str, PartKind], checks: Mapping[str, Check]
) -> Iterator[Fault]:
    for place, check in enumerate(kind.exercised_by):
        yield from unknown(("exercised_by", place), "a check", check, checks)
    for place, measurement in enumerate(kind.measurements):
        for number, result in enumerate(measurement.results):
            here = ("measurements", place, "results", number, "sees")
            for seen in result.sees:
                if ":" in seen:
                    yield from _seen_faults((*here, seen), seen, parts)


def _work_faults(
    kind: PartKind, parts: Mapping[str, PartKind], setups: Mapping[str, Setup]
) -> Iterator[Fault]:
    """Work that wants a set-up which does not exist, and swaps that move nothing known."""
    for name in ("remedies", "measurements", "swaps"):
        for place, work in enumerate(getattr(kind, name)):
            known = [*_passing(setups), ANY_SETUP]
            yield from unknown((name, place, "setup"), "a set-up, or any", work.setup, known)
    for place, remedy in enumerate(kind.remedies):
        yield from _lasting_faults(("remedies", place), remedy.wants, setups)
    own = [mode.id for mode in kind.modes]
    others = [name for name, other in parts.items() if other.reach == "row" and name != kind.id]
    for place, swap in enumerate(kind.swaps):
        for number, moved in enumerate(swap.moves):
            here = ("swaps", place, "moves", number)
            what = f"a mode of {kind.id}, or a part kind of rows"
            yield from unknown(here, what, moved, [*own, *others])


def _wanted(check: Check, setups: Mapping[str, Setup]) -> Iterator[Fault]:
    yield from unknown(("setup",), "a set-up", check.setup, _passing(setups))
    yield from _lasting_faults((), check.wants, setups)


def _passing(setups: Mapping[str, Setup]) -> list[str]:
    return [name for name, setup in setups.items() if not setup.lasting]


def _lasting_faults(
    path: tuple[str | int, ...], wants: Sequence[str], setups: Mapping[str, Setup]
) -> Iterator[Fault]:
    lasting = [name for name, setup in setups.items() if setup.lasting]
    for number, name in enumerate(wants):
        yield from unknown((*path, "wants", number), "a lasting set-up", name, lasting)


def _prepare_faults(circumstance: Circumstance, setups: Mapping[str, Setup]) -> Iterator[Fault]:
    prepare = circumstance.prepare
    lasting = [name for name, setup in setups.items() if setup.lasting]
    if prepare and prepare.setup:
        yield from unknown(("prepare", "setup"), "a lasting set-up", prepare.setup, lasting)


def _seen_faults(
    path: tuple[str | int, ...], seen: str, parts: Mapping[str, PartKind]
) -> Iterator[Fault]:
    kind, _, mode = seen.partition(":")
    yield from unknown(path, "a part kind before the colon", kind, parts)
    if kind in parts:
        modes = [each.id for each in parts[kind].modes]
        yield from unknown(path, f"a mode of {kind} after the colon", mode, modes)


def _state_faults(circumstance: Circumstance, checks: Mapping[str, Check]) -> Iterator[Fault]:
    for place, state in enumerate(circumstance.states):
        here = ("states", place)
        for check in state.shows:
            yield from unknown((*here, "shows", check), "a check", check, checks)
        for check in state.prior:
            yield from unknown((*here, "prior", check), "a check or any", check, [*checks, "any"])
