"""Read the files of what is known, each checked alone and beside the others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Generic, TypeVar

from diagnose.errors import FileProblems, Place, Problem
from diagnose.formats.cache import CachedData
from diagnose.formats.model import check_model, in_order
from diagnose.formats.strictyaml import Document, read_file
from diagnose.formats.value_problem import FieldFault, unknown
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.checks import Check, Rates, Setup
from diagnose.knowledge.circumstances import Circumstance
from diagnose.knowledge.parts import ANY_SETUP, PartKind
from diagnose.paths import GraphFiles

_Entry = TypeVar("_Entry", PartKind, Check, Circumstance, Setup)


def read_knowledge(files: GraphFiles) -> tuple[Knowledge, CachedData]:
    """What is known, and the data that it was made of. Raises `FileProblems` with all problems."""
    parts, checks = _shelf(PartKind, files.parts), _shelf(Check, files.checks)
    circumstances = _shelf(Circumstance, files.circumstances)
    setups = _shelf(Setup, files.setups)
    layouts, problems = _layouts(files.machines)
    problems += parts.problems + checks.problems + circumstances.problems + setups.problems
    problems += [] if problems else _between(parts, checks, circumstances, setups)
    if problems:
        raise FileProblems(in_order(problems))
    rates, rates_data = _rates(files.rates)
    known = Knowledge(
        parts.frozen,
        checks.frozen,
        circumstances.frozen,
        MappingProxyType(layouts),
        setups.frozen,
        rates,
    )
    return known, {
        "parts": parts.data,
        "checks": checks.data,
        "circumstances": circumstances.data,
        "setups": setups.data,
        "rates": rates_data,
    }


def _between(
    parts: _Shelf[PartKind],
    checks: _Shelf[Check],
    circumstances: _Shelf[Circumstance],
    setups: _Shelf[Setup],
) -> list[Problem]:
    """What is wrong between files that are sound alone."""
    problems: list[Problem] = []
    for name, kind in parts.entries.items():
        problems += parts.located(name, _part_faults(kind, parts.entries, checks.entries))
        problems += parts.located(name, _work_faults(kind, parts.entries, setups.entries))
    for name, check in checks.entries.items():
        problems += checks.located(name, _wanted(check, setups.entries))
    for name, each in circumstances.entries.items():
        problems += circumstances.located(name, _state_faults(each, checks.entries))
        problems += circumstances.located(name, _prepare_faults(each, setups.entries))
    return problems


def _rates(files: Sequence[Path]) -> tuple[Rates, CachedData]:
    """The user's own rates when there are some, else those that ship."""
    document = read_file(files[-1])
    rates, problems = check_model(document, Rates)
    if rates is None or problems:
        raise FileProblems(problems)
    return rates, document.data


@dataclass
class _Shelf(Generic[_Entry]):
    """Entries of one sort with the documents they came from."""

    entries: dict[str, _Entry] = field(default_factory=dict)
    documents: dict[str, Document] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)

    @property
    def data(self) -> list[CachedData]:
        return [document.data for document in self.documents.values()]

    @property
    def frozen(self) -> Mapping[str, _Entry]:
        return MappingProxyType(self.entries)

    def located(self, name: str, faults: Iterator[FieldFault]) -> list[Problem]:
        document = self.documents[name]
        return [wrong.at(document.place(path)) for path, wrong in faults]


def _shelf(kind: type[_Entry], files: Sequence[Path]) -> _Shelf[_Entry]:
    shelf: _Shelf[_Entry] = _Shelf()
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
) -> Iterator[FieldFault]:
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
) -> Iterator[FieldFault]:
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


def _wanted(check: Check, setups: Mapping[str, Setup]) -> Iterator[FieldFault]:
    yield from unknown(("setup",), "a set-up", check.setup, _passing(setups))
    yield from _lasting_faults((), check.wants, setups)


def _passing(setups: Mapping[str, Setup]) -> list[str]:
    return [name for name, setup in setups.items() if not setup.lasting]


def _lasting_faults(
    path: tuple[str | int, ...], wants: Sequence[str], setups: Mapping[str, Setup]
) -> Iterator[FieldFault]:
    lasting = [name for name, setup in setups.items() if setup.lasting]
    for number, name in enumerate(wants):
        yield from unknown((*path, "wants", number), "a lasting set-up", name, lasting)


def _prepare_faults(
    circumstance: Circumstance, setups: Mapping[str, Setup]
) -> Iterator[FieldFault]:
    prepare = circumstance.prepare
    lasting = [name for name, setup in setups.items() if setup.lasting]
    if prepare and prepare.setup:
        yield from unknown(("prepare", "setup"), "a lasting set-up", prepare.setup, lasting)


def _seen_faults(
    path: tuple[str | int, ...], seen: str, parts: Mapping[str, PartKind]
) -> Iterator[FieldFault]:
    kind, _, mode = seen.partition(":")
    yield from unknown(path, "a part kind before the colon", kind, parts)
    if kind in parts:
        modes = [each.id for each in parts[kind].modes]
        yield from unknown(path, f"a mode of {kind} after the colon", mode, modes)


def _state_faults(circumstance: Circumstance, checks: Mapping[str, Check]) -> Iterator[FieldFault]:
    for place, state in enumerate(circumstance.states):
        here = ("states", place)
        for check in state.shows:
            yield from unknown((*here, "shows", check), "a check", check, checks)
        for check in state.prior:
            yield from unknown((*here, "prior", check), "a check or any", check, [*checks, "any"])
