"""What a reading would say: the chance of each result together with each blame.

Given a single blame all causes of the target are known, and a reading's own noisy-OR is a
product over its parents: exact but for causes that cannot make the target fail, which are
taken at their posterior. Where several causes act together their states are taken as
independent given that; `exact` gives the total of an outcome without this.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from itertools import pairwise

import numpy as np

from diagnose.noisyor.network import ABSENT, Floats
from diagnose.noisyor.outlook import Outlook
from diagnose.noisyor.posterior import log_evidence
from diagnose.ranking.causes import Ranking
from diagnose.ranking.evidence import Seen
from diagnose.record import record


@record
class Beliefs:
    """The posterior of every state, given each blame of an outlook.

    Parameters
    ----------
    ranking: gives the posterior.
    outlook: gives the blames.
    """

    ranking: Ranking
    outlook: Outlook

    @cached_property
    def idle(self) -> Floats:
        """(states) posterior of each state given that its variable is not to blame.

        What could have failed the row is not there as long as it is not to blame.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> beliefs = plan(load_machine("mounted-6"), told).scene.scales.beliefs
        >>> coil = beliefs.ranking.evidence.model.flat("row-6/valve", "coil_open")
        >>> float(beliefs.idle[coil]), float(beliefs.idle[coil - 1]) > 0.99
        (0.0, True)
        """
        flat = np.where(self._active, 0.0, self.ranking.posterior.flat)
        return self._normal(flat)

    @cached_property
    def several(self) -> Floats:
        """(states) posterior of each state given that several causes are to blame."""
        blame = self.outlook.blame
        single = np.zeros_like(self.idle)
        single[self.blamed] = blame[1:-1]
        offsets = self.ranking.evidence.offsets
        mine = np.repeat(np.add.reduceat(single, offsets[:-1]), np.diff(offsets))
        rest = self.ranking.posterior.flat - single - (blame[:-1].sum() - mine) * self.idle
        return self._normal(np.maximum(rest, 0.0))

    def absent(self, seen: Seen) -> Floats:
        """(blames + 1) probability that a finding is absent, together with each blame.

        Of a coil that is not to blame one reading in 300 or so is open by mistake (0.003).

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> beliefs = plan(load_machine("mounted-6"), told).scene.scales.beliefs
        >>> seen = beliefs.ranking.evidence.possible("row-6/valve", "coil-resistance", "open")
        >>> float(round(beliefs.absent(seen)[0] / beliefs.outlook.blame[0], 6))
        0.997
        """
        states, logs = seen.entries
        survival = np.ones_like(self.idle)
        survival[states] = np.exp(logs)
        offsets = self.ranking.evidence.offsets
        mean = np.add.reduceat(self.idle * survival, offsets[:-1])
        known = np.maximum(mean, 1e-300)
        own = survival[self.blamed] / known[self._owner]
        several = np.add.reduceat(self.several * survival, offsets[:-1]).prod()
        chances = np.concatenate([[1.0], own, [1.0]]) * known.prod() * (1 - seen.leak)
        chances[-1] = several * (1 - seen.leak)
        found: Floats = np.minimum(chances, 1.0) * self.outlook.blame
        return found

    @cached_property
    def _owner(self) -> np.typing.NDArray[np.intp]:
        names = {name: v for v, name in enumerate(self.ranking.evidence.variables)}
        causes = [blame.cause for blame in self.outlook.blames[1:]]
        return np.array([names[cause[0]] for cause in causes if cause], dtype=np.intp)

    @cached_property
    def blamed(self) -> np.typing.NDArray[np.intp]:
        """Flat state that each single blame stands for.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> scales = plan(load_machine("mounted-6"), told).scene.scales
        >>> coil = scales.ranking.evidence.model.flat("row-6/valve", "coil_open")
        >>> scales.names[1 + scales.beliefs.blamed.tolist().index(coil)]
        'row-6/valve:coil_open'
        """
        causes = [blame.cause for blame in self.outlook.blames[1:]]
        within = np.array([cause[1] for cause in causes if cause], dtype=np.intp)
        flat: np.typing.NDArray[np.intp] = self.ranking.evidence.offsets[self._owner] + within
        return flat

    @cached_property
    def _active(self) -> np.typing.NDArray[np.bool_]:
        active = np.zeros(len(self.ranking.posterior.flat), dtype=bool)
        active[self.blamed] = True
        return active

    def _normal(self, weight: Floats) -> Floats:
        """Each variable's weights made to sum to 1; its posterior where they vanish."""
        offsets = self.ranking.evidence.offsets
        total = np.repeat(np.add.reduceat(weight, offsets[:-1]), np.diff(offsets))
        flat = self.ranking.posterior.flat
        normal: Floats = np.divide(weight, total, out=flat.copy(), where=total > 0)
        return normal


def told(beliefs: Beliefs, ladder: Sequence[Seen]) -> list[Floats]:
    """(blames + 1) joint probabilities of each result, in order, and of "good" at the end.

    Step k of the ladder is absent when none of the first k + 1 results is there.

    The meter misses an open coil twice in 100, and then reads open by mistake 3 times in 1000.

    >>> from diagnose import load_machine, plan, read_typed
    >>> case = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> scales = plan(load_machine("mounted-6"), case).scene.scales
    >>> seen = scales.ranking.evidence.possible("row-6/valve", "coil-resistance", "open")
    >>> opened, good = told(scales.beliefs, [seen])
    >>> coil = scales.names.index("row-6/valve:coil_open")
    >>> float(round(good[coil] / (opened[coil] + good[coil]), 6))  # 0.02 · (1 - 0.003)
    0.01994
    """
    absent = [beliefs.outlook.blame, *map(beliefs.absent, ladder)]
    steps = [np.maximum(a - b, 0.0) for a, b in pairwise(absent)]
    return [*steps, absent[-1]]


def exact(ranking: Ranking, ladder: Sequence[Seen]) -> list[float]:
    """The exact probability of each result, in order, and of "good", by inferring again.

    A coil with chance p of being open reads open unless both it and a false alarm fail to show.

    >>> from diagnose import load_machine, rank, read_typed
    >>> case = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), case)
    >>> [p] = [one.probability for one in found.causes if one.id == "row-6/valve:coil_open"]
    >>> seen = found.evidence.possible("row-6/valve", "coil-resistance", "open")
    >>> abs(exact(found, [seen])[0] - (1 - (1 - 0.98 * p) * (1 - 0.003))) < 1e-7
    True
    """
    evidence = ranking.evidence
    absent = [1.0]
    for seen in ladder:
        ruled_out = Seen(seen.name, ABSENT, seen.leak, seen.site, seen.entries)
        network = evidence.network_of([*evidence.observed, ruled_out])
        absent.append(float(np.exp(log_evidence(network) - ranking.posterior.log_evidence)))
    return [*(a - b for a, b in pairwise(absent)), absent[-1]]
