"""A set of priors that was learned from closed cases and accepted: one file of the user's own.

It takes the place of the priors that ship, mode by mode; what it does not name stays as it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field

from diagnose.errors import FileProblems
from diagnose.formats.model import Id, Number, Strict, Text, check_model, in_order
from diagnose.formats.strictyaml import Document
from diagnose.formats.value_problem import FieldFault, Path, Wrong, unknown
from diagnose.knowledge.parts import LARGEST_PRIOR, PartKind

PRIORS_SCHEMA = "rowfault/priors/1"

SHIPPED = "shipped"
"""What the priors are called when no set was accepted."""

MOST_CASES = 1_000_000_000


def _moment(text: str) -> str:
    try:
        zone = datetime.fromisoformat(text).tzinfo
    except ValueError:
        zone = None
    if zone is None:
        raise Wrong(
            got=repr(text), expected="a time with its zone, such as 2026-03-01T09:30:00+00:00"
        )
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

    def faults(self) -> Iterator[FieldFault]:
        """The name that stands for having no set.

        >>> about = {"schema": PRIORS_SCHEMA, "accepted": "2026-03-01T09:30:00+00:00", "by": "Ann"}
        >>> found = PriorSet.model_validate({**about, "id": "shipped", "cases": 40, "parts": {}})
        >>> [str(wrong) for _, wrong in found.faults()]
        ['expected an id other than shipped, got shipped']
        """
        if self.id == SHIPPED:
            yield ("id",), Wrong(f"an id other than {SHIPPED}", SHIPPED, "choose another")


def read_priors(document: Document, kinds: Mapping[str, PartKind]) -> PriorSet:
    """The set in a document, for these part kinds. Raises `FileProblems` with all of them.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> about = {"schema": PRIORS_SCHEMA, "accepted": "2026-03-01T09:30:00+00:00", "by": "workshop"}
    >>> data = {**about, "id": "ours", "cases": 40, "parts": {"valv": {"coil_open": 0.02}}}
    >>> read_priors(Document("priors.yaml", data), load_knowledge().parts)
    Traceback (most recent call last):
    diagnose.errors.FileProblems: priors.yaml: expected a part kind, got 'valv'; did you mean valve?
    """
    learned, problems = check_model(document, PriorSet)
    faults = list(_name_faults(document.data, kinds))
    if learned is not None:
        faults += _sum_faults(learned, kinds)
    problems += [wrong.at(document.place(path)) for path, wrong in faults]
    if learned is None or problems:
        raise FileProblems(in_order(problems))
    return learned


def _name_faults(data: Mapping[str, Any], kinds: Mapping[str, PartKind]) -> Iterator[FieldFault]:
    """Part kinds and modes that are not known, however wrong the rest of the file is."""
    yield from _unknown_in(("parts",), _named(data.get("parts")), kinds)
    for frame, priors in _named(data.get("frames")).items():
        yield from _unknown_in(("frames", frame), _named(priors), kinds)


def _unknown_in(
    path: Path, priors: Mapping[str, Any], kinds: Mapping[str, PartKind]
) -> Iterator[FieldFault]:
    for name, modes in priors.items():
        yield from unknown((*path, name), "a part kind", name, kinds)
        known = [mode.id for mode in kinds[name].modes] if name in kinds else []
        for mode in _named(modes) if known else ():
            yield from unknown((*path, name, mode), f"a mode of {name}", mode, known)


def _named(value: object) -> Mapping[str, Any]:
    return value if isinstance(value, dict) else {}


def _sum_faults(learned: PriorSet, kinds: Mapping[str, PartKind]) -> Iterator[FieldFault]:
    """Priors of a kind that add up to too much, with those of its modes that are not named."""
    fleet = relearned(kinds, learned.parts)
    sets: list[tuple[Path, ByKind]] = [(("parts",), learned.parts)]
    sets += [(("frames", frame), priors) for frame, priors in learned.frames.items()]
    for path, priors in sets:
        for name, kind in relearned(fleet, priors).items():
            total = sum(mode.prior for mode in kind.modes)
            if name in priors and total > LARGEST_PRIOR:
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
