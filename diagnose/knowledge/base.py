"""Everything that is known before a case begins, loaded once and checked as a whole."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import field, replace
from functools import cache, cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import TypeVar

from pydantic import ValidationError as PydanticError

from diagnose.formats.cache import CachedData, Memory
from diagnose.formats.strictyaml import read_text
from diagnose.formats.textfile import read_text_file
from diagnose.knowledge.checks import Check, Rates, Setup, change_minutes
from diagnose.knowledge.circumstances import Circumstance, Prepare
from diagnose.knowledge.parts import ANY_SETUP, PartKind
from diagnose.knowledge.priors import SHIPPED, read_priors, relearned
from diagnose.paths import Folders, GraphFiles, graph_files, own, shipped
from diagnose.record import record
from diagnose.tolerances import LARGEST_YAML

_Entry = TypeVar("_Entry", PartKind, Check, Circumstance, Setup)


@record
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
    if not learned or not added.priors.exists():
        return _load(added)
    return _relearned(added, read_text_file(added.priors, LARGEST_YAML))


@lru_cache(maxsize=8)
def _relearned(added: Folders, text: str) -> Knowledge:
    """The user's knowledge with the priors that the text of the accepted file has."""
    known = _load(added)
    found = read_priors(read_text(text, str(added.priors)), known.parts)
    fleet = relearned(known.parts, found.parts)
    frames = {frame: relearned(fleet, priors) for frame, priors in found.frames.items()}
    return replace(known, parts=fleet, priors=found.id, frames=MappingProxyType(frames))


@cache
def _load(added: Folders) -> Knowledge:
    files = graph_files((shipped(), added))
    memory = Memory("knowledge", files.every)
    with suppress(PydanticError, LookupError, TypeError):
        for data in memory.recall() or ():
            return _recalled(data, files)
    # What checks files is slow to import, and files that were found sound once are remembered.
    from diagnose.knowledge.reading import read_knowledge  # noqa: PLC0415

    known, data = read_knowledge(files)
    memory.remember([data])
    return known


def _recalled(data: CachedData, files: GraphFiles) -> Knowledge:
    """The knowledge whose data were remembered. Raises as pydantic does when they are not right."""
    return Knowledge(
        _by_id(PartKind, data["parts"]),
        _by_id(Check, data["checks"]),
        _by_id(Circumstance, data["circumstances"]),
        MappingProxyType({path.stem: path for path in files.machines}),
        _by_id(Setup, data["setups"]),
        Rates.model_validate(data["rates"]),
    )


def _by_id(kind: type[_Entry], data: Iterable[CachedData]) -> Mapping[str, _Entry]:
    entries = (kind.model_validate(one) for one in data)
    return MappingProxyType({entry.id: entry for entry in entries})
