"""A set of priors that was learned from closed cases and accepted: one file of the user's own.

It takes the place of the priors that ship, mode by mode; what it does not name stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from diagnose.knowledge.model import Id, Number, Strict, Text
from diagnose.knowledge.parts import LARGEST_PRIOR, PartKind
from diagnose.knowledge.wrong import Fault, Path, Wrong, unknown

SCHEMA = "rowfault/priors/1"

SHIPPED = "shipped"
"""What the priors are called when no set was accepted."""

MOST_CASES = 1_000_000_000


def _moment(text: str) -> str:
    try:
        zone = datetime.fromisoformat(text).tzinfo
    except ValueError:
        zone = None
    if zone is None:
        raise Wrong("a time with its zone, such as 2026-03-01T09:30:00+00:00", repr(text))
    return text


Prior = Annotated[Number, Field(gt=0, lt=1)]
ByMode = Mapping[str, Prior]
ByKind = Mapping[str, ByMode]


class PriorSet(Strict):
    """Priors by part kind and mode, and by machine frame where that frame has its own.

    ``cases`` is from how many closed cases they were learned, ``by`` who accepted them.
    """

    form: Literal["rowfault/priors/1"] = Field(alias="schema")
    id: Id
    accepted: Annotated[Text, AfterValidator(_moment)]
    by: Text
    cases: int = Field(strict=True, ge=1, le=MOST_CASES)
    parts: ByKind
    frames: Mapping[str, ByKind] = Field(default_factory=dict)

    def faults(self) -> Iterator[Fault]:
        """The name that stands for having no set."""
        if self.id == SHIPPED:
            yield ("id",), Wrong(f"an id other than {SHIPPED}", SHIPPED, "choose another")


def prior_faults(learned: PriorSet, kinds: Mapping[str, PartKind]) -> Iterator[Fault]:
    """Kinds and modes that are not known, and priors of a kind that add up to too much."""
    yield from _kind_faults(("parts",), learned.parts, kinds)
    fleet = relearned(kinds, learned.parts)
    for frame, priors in learned.frames.items():
        yield from _kind_faults(("frames", frame), priors, fleet)


def _kind_faults(path: Path, priors: ByKind, kinds: Mapping[str, PartKind]) -> Iterator[Fault]:
    for name, modes in priors.items():
        yield from unknown((*path, name), "a part kind", name, kinds)
        if name not in kinds:
            continue
        known = [mode.id for mode in kinds[name].modes]
        for mode in modes:
            yield from unknown((*path, name, mode), f"a mode of {name}", mode, known)
        total = sum(modes.get(mode.id, mode.prior) for mode in kinds[name].modes)
        if total > LARGEST_PRIOR:
            expected = f"priors of {name} that add up to at most {LARGEST_PRIOR}"
            yield (*path, name), Wrong(expected, f"{total:g}")


def relearned(kinds: Mapping[str, PartKind], priors: ByKind) -> Mapping[str, PartKind]:
    """The part kinds with these priors in place of their own.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> kinds = relearned(load_knowledge().parts, {"valve": {"coil_open": 0.02}})
    >>> kinds["valve"].mode("coil_open").prior
    0.02
    """
    changed = {name: _with(kinds[name], modes) for name, modes in priors.items() if name in kinds}
    return MappingProxyType({**kinds, **changed})


def _with(kind: PartKind, priors: ByMode) -> PartKind:
    modes = tuple(
        mode.model_copy(update={"prior": priors[mode.id]}) if mode.id in priors else mode
        for mode in kind.modes
    )
    return kind.model_copy(update={"modes": modes})
