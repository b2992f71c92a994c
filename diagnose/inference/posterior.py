"""Log evidence, every marginal and joint probabilities of a noisy-OR network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.arrays import Floats
from diagnose.errors import OverBudget
from diagnose.inference.decomposition import decompose
from diagnose.inference.network import Network
from diagnose.inference.solver import NEGLIGIBLE, Solver
from diagnose.record import record

_EXACT = 1e-6
"""A posterior is exact when all that was left out carries no more of the evidence than this."""


@record
class Posterior:
    """Beliefs given all present and absent findings; open findings do not count.

    Parameters
    ----------
    network: what was asked about.
    log_evidence: natural log of the probability of the findings; -inf when impossible.
    flat: (states) posterior probability of every flat state.
    left_out: the share of the evidence found that was left out, at most.
    """

    network: Network
    log_evidence: float
    flat: Floats
    left_out: float = 0.0

    @property
    def exact(self) -> bool:
        """Whether nothing was left out that could be seen.

        >>> nothing = Network.of([], [])
        >>> [Posterior(nothing, 0.0, np.zeros(0), lost).exact for lost in (1e-9, 0.1)]
        [True, False]
        """
        return self.left_out <= _EXACT

    def bounds(self, probability: float) -> tuple[float, float]:
        """The least and the most that a probability found here can be in truth.

        What was left out may all be such, or none of it.

        >>> some = Posterior(Network.of([], []), 0.0, np.zeros(0), left_out=0.25)
        >>> [round(bound, 6) for bound in some.bounds(0.5)]
        [0.4, 0.6]
        """
        whole = 1 + self.left_out
        return probability / whole, min((probability + self.left_out) / whole, 1.0)

    def marginal(self, name: str) -> Floats:
        """Posterior probability of each state of the variable ``name``.

        >>> from diagnose.inference.network import Finding, Variable
        >>> fever = Finding("fever", {"flu": (1, 0)}, leak=0.25, present=True)
        >>> found = posterior(Network.of([Variable("flu", (0.8, 0.2))], [fever]))
        >>> found.marginal("flu").round(6).tolist()  # 0.8 * 0.25 = 0.2 * 1
        [0.5, 0.5]
        """
        v = self.network.index(name)
        return self.flat[self.network.offsets[v] : self.network.offsets[v + 1]]

    def probability(self, states: Mapping[str, Sequence[int]]) -> float:
        """Joint posterior probability that every named variable is in one of the states.

        >>> from diagnose.inference.network import Finding, Variable
        >>> coins = [Variable("a", (0.5, 0.5)), Variable("b", (0.5, 0.5))]
        >>> either = Finding("either", {"a": (1, 0), "b": (1, 0)}, present=True)
        >>> round(posterior(Network.of(coins, [either])).probability({"a": [1], "b": [1]}), 6)
        0.333333
        """
        joint = log_evidence(self.network.restricted(states))
        return float(np.exp(joint - self.log_evidence))


def posterior(network: Network, negligible: float = NEGLIGIBLE, bounded: bool = False) -> Posterior:
    """The posterior of a network; no more than ``negligible`` of the evidence is left out.

    Where that would take too many table entries (see `budget`) it raises `OverBudget`; or, when it
    may be ``bounded``, leaves out more and says how much. With evidence of probability zero
    ``log_evidence`` is -inf and ``flat`` is all zero: see `conflict` for which findings cannot
    stand together.

    >>> from diagnose.inference.network import Finding, Variable
    >>> network = Network.of(
    ...     [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))],
    ...     [Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)}, present=True)],
    ... )
    >>> posterior(network).marginal("flu").round(5).tolist()
    [0.46875, 0.53125]
    """
    solver = _solved(network, negligible, bounded)
    if solver is None:
        return Posterior(network, -np.inf, np.zeros(network.states))
    known = solver.log_evidence + solver.plan.apart
    return Posterior(network, known, solver.marginals(), solver.left_out)


def _solved(
    network: Network, negligible: float, bounded: bool = False, taped: bool = True
) -> Solver | None:
    """None when the evidence is impossible."""
    plan = decompose(network.observed())
    solver = None if plan is None else Solver(plan, negligible).solve(taped)
    if solver is None or solver.log_evidence == -np.inf:
        return None
    if not bounded and solver.left_out > max(2 * negligible, _EXACT):
        raise OverBudget
    return solver


def log_evidence(network: Network) -> float:
    """Natural log of the probability of the findings alone (half the work of `posterior`).

    >>> from diagnose.inference.network import Finding, Variable
    >>> coins = [Variable("a", (0.5, 0.5)), Variable("b", (0.5, 0.5))]
    >>> either = Finding("either", {"a": (1, 0), "b": (1, 0)}, present=True)
    >>> round(float(np.exp(log_evidence(Network.of(coins, [either])))), 6)
    0.75
    """
    solver = _solved(network, NEGLIGIBLE, taped=False)
    return -np.inf if solver is None else solver.log_evidence + solver.plan.apart


def conflict(network: Network) -> tuple[str, ...]:
    """A smallest set of findings that cannot stand together; empty when all can.

    Leaving out any one of them makes the rest possible (deletion-based, one pass).

    >>> from diagnose.inference.network import Finding, Variable
    >>> sure = {"flu": (1.0, 0.0)}
    >>> conflict(Network.of([Variable("flu", (0.5, 0.5))], [
    ...     Finding("a", sure, present=True), Finding("b", sure, present=False)]))
    ('a', 'b')
    """
    network = network.observed()
    if log_evidence(network) > -np.inf:
        return ()
    f = 0
    while f < len(network.finding_names):
        fewer = network.without([f])
        if log_evidence(fewer) == -np.inf:
            network = fewer
        else:
            f += 1
    return network.finding_names
