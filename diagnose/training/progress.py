"""How somebody comes on, skill by skill, from the drills that they finished; and what is next.

Each opportunity for a skill is a trial that was taken or not, with a chance that is estimated from
a Beta(1/2, 1/2) prior (H. Jeffreys 1946) by its equal-tailed interval (L. Brown, T. Cai &
A. DasGupta 2001, Interval estimation for a binomial proportion). Somebody who learns is not the
same for ever, so a trial weighs less with each later one of its skill.

The weakest skill is the one that may be lowest: whose interval ends lowest. What came up seldom
has a wide interval, so it gets its turn; among equals comes first what an easier level trains.
Nobody is compared with anybody.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

from diagnose.learning.conjugate import LEVEL, Beta
from diagnose.record import record
from diagnose.training.level import Drills, Level
from diagnose.training.record import Finished
from diagnose.training.skills import SKILLS

JEFFREYS = Beta(0.5, 0.5)

FADES = 0.95
"""What a trial weighs after one later trial of its skill: all together never weigh more than
twenty (judgement)."""

FEWEST = 3
"""Opportunities below which a skill is not known yet (judgement)."""

FIRST_LEVEL = 1
"""Where everybody begins, and what is drilled when nothing else is asked for."""


@record
class Estimate:
    """A skill: how many opportunities were taken, of how many, and what that says of the next."""

    skill: str
    taken: int
    of: int
    belief: Beta

    @property
    def name(self) -> str:
        """The skill in a few words.

        >>> estimated("prove", []).name
        'prove the repair'
        """
        return SKILLS[self.skill].partition(":")[0]

    @property
    def known(self) -> bool:
        """Whether it came up often enough to say anything.

        >>> estimated("prove", [True, False]).known, estimated("prove", [True, False, True]).known
        (False, True)
        """
        return self.of >= FEWEST

    @cached_property
    def interval(self) -> tuple[float, float]:
        """The chance to take the next opportunity lies within, with a chance of `LEVEL`.

        >>> ends = estimated("prove", []).interval  # sin² of 0.05 and of 0.95 times π / 2
        >>> [round(end, 4) for end in ends]
        [0.0062, 0.9938]
        """
        return self.belief.interval(LEVEL)


@record
class Advice:
    """Which level to drill next; ``estimate`` is of the skill that it is for, None at first."""

    level: Level
    estimate: Estimate | None

    @property
    def why(self) -> str:
        """The reason in words.

        >>> from diagnose.training.level import load_drills
        >>> Advice(load_drills().level(1), estimated("prove", [True, False])).why
        'prove the repair may be weakest, taken 1 of 2 times'
        """
        if self.estimate is None:
            return "no finished drill is kept yet"
        name, taken, of = self.estimate.name, self.estimate.taken, self.estimate.of
        if not of:
            return f"{name} has not come up yet"
        return f"{name} may be weakest, taken {taken} of {of} times"


def estimated(skill: str, trials: Iterable[bool]) -> Estimate:
    """What trials of a skill, the oldest first, say of it.

    >>> each = estimated("prove", [True, True, False])
    >>> each.taken, each.of, round(each.belief.mean, 3)
    (2, 3, 0.611)
    """
    taken = of = 0
    hits = misses = 0.0
    for hit in trials:
        taken, of = taken + hit, of + 1
        hits, misses = FADES * hits + hit, FADES * misses + (not hit)
    return Estimate(skill, taken, of, Beta(JEFFREYS.hits + hits, JEFFREYS.misses + misses))


def estimates(drills: Sequence[Finished]) -> tuple[Estimate, ...]:
    """Every skill, from one person's drills, the oldest first.

    >>> from diagnose.training.record import Opportunity
    >>> seen = (Opportunity("prove", 3, True), Opportunity("controls", 1, False))
    >>> done = Finished("A", "", "mounted-6", 1, 90, 80.0, True, seen)
    >>> [(each.skill, each.taken, each.of) for each in estimates([done, done]) if each.of]
    [('controls', 0, 2), ('prove', 2, 2)]
    """
    every = [each for done in drills for each in done.opportunities]
    return tuple(
        estimated(skill, (each.taken for each in every if each.skill == skill)) for skill in SKILLS
    )


def weakest(found: Sequence[Estimate], data: Drills) -> Estimate:
    """The skill that may be lowest.

    >>> from diagnose.training.level import load_drills
    >>> found = [estimated("prove", [True] * 9), estimated("controls", [False] * 9)]
    >>> weakest(found, load_drills()).skill
    'controls'
    """
    return min(found, key=lambda each: (each.interval[0], data.trainer(each.skill).number))


def advised(drills: Sequence[Finished], data: Drills) -> Advice:
    """The level to drill next: where what may be weakest comes up most, and level 1 at first.

    >>> from diagnose.training.level import load_drills
    >>> first = advised([], load_drills())
    >>> first.level.number, first.why
    (1, 'no finished drill is kept yet')
    """
    if not drills:
        return Advice(data.level(FIRST_LEVEL), None)
    found = weakest(estimates(drills), data)
    return Advice(data.trainer(found.skill), found)
