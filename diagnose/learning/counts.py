"""What closed cases count for each mode, and how much the shipped priors weigh."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import field
from pathlib import Path
from typing import Annotated, Protocol

from pydantic import Field

from diagnose.formats.model import Number, Strict, Text, read_model
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Mode, PartKind
from diagnose.learning.conjugate import Gamma
from diagnose.machine.graph import Machine, load_machine
from diagnose.paths import Folders, own, shipped
from diagnose.record import record

GOES_ON = ("open", "handed-over")
"""How a case stands that is not closed; older casebooks tell the second from the first."""
PROVEN = "proven"
CIRCUMSTANCES = "circumstances"

ModeOf = tuple[str, str]
"""A part kind and one of its modes."""


class Summary(Protocol):
    """What is told of a case: its machine, how it ended, the causes that were found."""

    @property
    def machine(self) -> str:
        """The id of its machine."""

    @property
    def outcome(self) -> str:
        """``open``, or how it was closed."""

    @property
    def causes(self) -> tuple[str, ...]:
        """Ids such as ``row-6/valve:coil_open``."""


@record
class ModeCounts:
    """Closed cases, part-cases by part kind, and findings by part kind and mode.

    >>> one = ModeCounts(1, Counter({"valve": 6}), Counter({("valve", "coil_open"): 1}))
    >>> (one + one).part_cases["valve"]
    12
    """

    cases: int = 0
    part_cases: Counter[str] = field(default_factory=Counter)
    found: Counter[ModeOf] = field(default_factory=Counter)

    def __add__(self, other: ModeCounts) -> ModeCounts:
        return ModeCounts(
            self.cases + other.cases,
            self.part_cases + other.part_cases,
            self.found + other.found,
        )


@record
class Counts:
    """What closed cases come to, by machine frame, and what of them could not be counted.

    Parameters
    ----------
    frames: a tally for each frame; machines whose layout names none have the frame "".
    unfinished: cases that are open, or were closed without a cause and without proof.
    unknown_machines: by machine, closed cases on layouts that are not known here.
    unknown_causes: by id, causes that the case's machine does not have.
    """

    frames: Mapping[str, ModeCounts] = field(default_factory=dict)
    unfinished: int = 0
    unknown_machines: Counter[str] = field(default_factory=Counter)
    unknown_causes: Counter[str] = field(default_factory=Counter)

    @property
    def fleet(self) -> ModeCounts:
        """All frames together.

        >>> both = Counts({"mounted": ModeCounts(2), "folding": ModeCounts(3)})
        >>> both.fleet.cases
        5
        """
        return sum(self.frames.values(), ModeCounts())

    def __add__(self, other: Counts) -> Counts:
        frames = {*self.frames, *other.frames}
        return Counts(
            {
                f: self.frames.get(f, ModeCounts()) + other.frames.get(f, ModeCounts())
                for f in sorted(frames)
            },
            self.unfinished + other.unfinished,
            self.unknown_machines + other.unknown_machines,
            self.unknown_causes + other.unknown_causes,
        )


def count_cases(cases: Iterable[Summary], knowledge: Knowledge) -> Counts:
    """The counts of some cases, whatever their order. Raises `FileProblems` for a bad layout.

    Each part on the machine of a case that counts is one part-case, and each cause that its
    conclusion names is one finding. A cause named twice in one case is one fault. A bad
    circumstance is no fault of a part and is passed over.

    A proven case without a cause counts: its parts were there and all proved sound. A case that
    was handed over goes on and does not count. One that was given up counts when it names causes.
    Without any it is left out whole: something was wrong and nobody knows what, so that taking its
    parts for sound would make every mode look rarer than it is. That is right as far as such cases
    fail like the others; modes that are hard to find are then still underrated, which the counts
    cannot tell.

    >>> from types import SimpleNamespace
    >>> from diagnose.knowledge.base import load_knowledge
    >>> found = ("row-6/valve:coil_open",)
    >>> coil = SimpleNamespace(machine="mounted-6", outcome=PROVEN, causes=found)
    >>> left = SimpleNamespace(machine="mounted-6", outcome="given-up", causes=())
    >>> told = count_cases([coil, coil, left], load_knowledge())
    >>> told.fleet.part_cases["valve"], told.fleet.found["valve", "coil_open"], told.unfinished
    (12, 2, 1)
    """
    usable = list(cases)
    ended = [each for each in usable if each.outcome == PROVEN or _solved(each)]
    same = Counter((each.machine, tuple(dict.fromkeys(each.causes))) for each in ended)
    by_machine: dict[str, Counter[tuple[str, ...]]] = {}
    for (name, causes), often in same.items():
        by_machine.setdefault(name, Counter())[causes] += often
    counts = Counts(unfinished=len(usable) - len(ended))
    for name, stories in by_machine.items():
        if name in knowledge.layouts:
            counts += _of_machine(load_machine(name, knowledge), stories)
        else:
            counts += Counts(unknown_machines=Counter({name: stories.total()}))
    return counts


def _solved(case: Summary) -> bool:
    return case.outcome not in GOES_ON and bool(case.causes)


def _of_machine(machine: Machine, stories: Counter[tuple[str, ...]]) -> Counts:
    """The counts of cases on one machine: how often each combination of causes was found."""
    cases = stories.total()
    kinds = Counter(kind.id for kind in machine.parts.values())
    found: Counter[ModeOf] = Counter()
    strange: Counter[str] = Counter()
    for causes, often in stories.items():
        for cause in causes:
            mode = _mode_of(machine, cause)
            if mode:
                found[mode] += often
            elif cause.partition("/")[0] != CIRCUMSTANCES:
                strange[cause] += often
    part_cases = Counter({kind: number * cases for kind, number in kinds.items()})
    return Counts({machine.frame: ModeCounts(cases, part_cases, found)}, unknown_causes=strange)


def _mode_of(machine: Machine, cause: str) -> ModeOf | None:
    part, _, mode = cause.partition(":")
    kind = machine.parts.get(part)
    known = kind is not None and any(mode == each.id for each in kind.modes)
    return (kind.id, mode) if kind is not None and known else None


class Weights(Strict):
    """What learning takes for granted.

    Parameters
    ----------
    faults: the shipped priors of a part kind count as if so many of its faults had been found.
    surprise: counts whose prior predictive tail is below this contradict the prior.
    apart: a frame gets priors of its own when the counts are so many times likelier under a rate
        for each frame than under one rate for all.
    """

    says: Text
    faults_found: Annotated[Number, Field(gt=0, le=1e6)] = Field(alias="faults")
    surprise: Annotated[Number, Field(gt=0, lt=0.5)]
    apart: Annotated[Number, Field(ge=1)]
    source: Text

    def belief(self, kind: PartKind, mode: Mode | None = None) -> Gamma:
        """The shipped prior of a mode, or of all modes of the kind, with its pseudo-counts.

        The exposure is in part-cases: one part on one machine in one closed case.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> valve = load_knowledge(learned=False).parts["valve"]
        >>> belief = load_weights().belief(valve, valve.mode("coil_open"))
        >>> round(belief.exposure), round(belief.shape, 6), round(belief.mean, 6)
        (500, 0.6, 0.0012)
        """
        exposure = self.faults_found / sum(each.prior for each in kind.modes)
        return Gamma(mode.prior * exposure if mode else self.faults_found, exposure)


def load_weights(extra: Path | None = None) -> Weights:
    """The user's own weights when there are some, else those that ship. Raises `FileProblems`.

    >>> load_weights().surprise
    0.005
    """
    roots = (shipped(), Folders(extra) if extra else own())
    return read_model([root.learning for root in roots if root.learning.is_file()][-1], Weights)
