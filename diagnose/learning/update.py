"""From counts to priors: what moved, by how much, and what contradicts the shipped prior.

The prior of each mode is a belief about its rate in part-cases: a Gamma whose mean is the shipped
prior and whose exposure `Weights` states. Modes of one kind share that exposure, so the rate of
all of them together is a Gamma as well, and their shares are a Dirichlet that is independent of
it: learning modes one by one is learning the kind and its shares. The mean of the posterior
becomes the new prior.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from diagnose.knowledge.parts import PartKind
from diagnose.learning.conjugate import Gamma
from diagnose.learning.counts import Counts, Tally
from diagnose.learning.weights import Weights
from diagnose.record import record

ALL_MODES = ""
"""Stands for all modes of a part kind together."""


@record
class Moved:
    """What closed cases do to one prior.

    Parameters
    ----------
    kind, mode: which prior; the mode is "" for all modes of the kind together.
    before: the belief as shipped.
    found, part_cases: what was counted.
    tail: how likely it was, as shipped, to find what is at least as far out.
    conflict: whether that is so unlikely that the prior is in doubt.
    """

    kind: str
    mode: str
    before: Gamma
    found: int
    part_cases: int
    tail: float
    conflict: bool

    @property
    def after(self) -> Gamma:
        """The belief with the closed cases.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).after
        Gamma(shape=3, exposure=150)
        """
        return self.before.seen(self.found, self.part_cases)

    @property
    def expected(self) -> float:
        """How many the shipped prior would have expected.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).expected  # 1 in 100, of 50
        0.5
        """
        return self.before.mean * self.part_cases

    @property
    def times(self) -> float:
        """The new prior as a multiple of the shipped one.

        >>> Moved("valve", "leaking", Gamma(1, 100), 2, 50, 0.3, False).times  # 0.02 from 0.01
        2.0
        """
        return self.after.mean / self.before.mean


@record
class Lesson:
    """What closed cases teach, for the fleet and for frames that differ from it.

    ``kinds`` has all modes of a kind together; ``frames`` only the modes that are learned apart.
    """

    counts: Counts
    modes: tuple[Moved, ...]
    kinds: tuple[Moved, ...]
    frames: Mapping[str, tuple[Moved, ...]]

    @property
    def conflicts(self) -> tuple[Moved, ...]:
        """What contradicts the shipped priors, in the fleet.

        >>> usual = Moved("valve", "coil_open", Gamma(1, 100), 1, 100, 0.6, False)
        >>> odd = Moved("valve", "leaking", Gamma(1, 100), 12, 100, 0.0002, True)
        >>> [each.mode for each in Lesson(Counts(), (usual, odd), (), {}).conflicts]
        ['leaking']
        """
        return tuple(each for each in (*self.kinds, *self.modes) if each.conflict)


def learn(counts: Counts, parts: Mapping[str, PartKind], weights: Weights) -> Lesson:
    """What the counts make of the shipped priors of these part kinds.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.learning.weights import load_weights
    >>> learn(Counts(), load_knowledge().parts, load_weights()).modes
    ()
    >>> from collections import Counter
    >>> tally = Tally(9, Counter(valve=500), Counter({("valve", "coil_open"): 1}))
    >>> shipped = load_knowledge(learned=False).parts
    >>> coil = learn(Counts({"": tally}), shipped, load_weights()).modes[0]
    >>> round(coil.before.mean, 6), round(coil.after.mean, 6)  # 0.6 / 500, then 1.6 / 1000
    (0.0012, 0.0016)
    """
    fleet = counts.fleet
    known = [kind for name, kind in parts.items() if fleet.part_cases[name]]
    beliefs = [(k.id, m.id, weights.belief(k, m)) for k in known for m in k.modes]
    whole = [(k.id, ALL_MODES, weights.belief(k)) for k in known if len(k.modes) > 1]
    modes = tuple(_moved(*each, fleet, weights.surprise) for each in beliefs)
    kinds = tuple(_moved(*each, fleet, weights.surprise) for each in whole)
    return Lesson(counts, modes, kinds, dict(_apart(modes, counts.frames, weights)))


def _moved(kind: str, mode: str, before: Gamma, tally: Tally, surprise: float) -> Moved:
    if mode == ALL_MODES:
        found = sum(times for (each, _), times in tally.found.items() if each == kind)
    else:
        found = tally.found[kind, mode]
    tail = before.tail(found, tally.part_cases[kind])
    return Moved(kind, mode, before, found, tally.part_cases[kind], tail, tail < surprise)


def _apart(
    modes: Sequence[Moved], frames: Mapping[str, Tally], weights: Weights
) -> Iterator[tuple[str, tuple[Moved, ...]]]:
    """By frame, the modes whose rates clearly differ between frames."""
    tallies = [tally for tally in frames.values() if tally.cases]
    least = math.log(weights.apart)
    differ = [each for each in modes if _log_ratio(each, tallies) > least]
    for frame, tally in frames.items():
        own = tuple(
            _moved(each.kind, each.mode, each.before, tally, weights.surprise)
            for each in differ
            if tally.part_cases[each.kind]
        )
        if frame and own:
            yield frame, own


def _log_ratio(moved: Moved, tallies: Sequence[Tally]) -> float:
    """How much likelier the counts are with a rate for each frame than with one for all (log).

    The chances of Poisson counts under Gamma beliefs, their common factors left out.
    """
    counted = [(t.found[moved.kind, moved.mode], t.part_cases[moved.kind]) for t in tallies]
    pooled = _log_weight(moved.before, moved.found, moved.part_cases)
    return math.fsum(_log_weight(moved.before, *each) for each in counted) - pooled


def _log_weight(belief: Gamma, count: int, exposure: float) -> float:
    after = belief.seen(count, exposure)
    return (
        math.lgamma(after.shape)
        - math.lgamma(belief.shape)
        + belief.shape * math.log(belief.exposure)
        - after.shape * math.log(after.exposure)
    )
