"""Log evidence, every marginal and joint probabilities of a noisy-OR network."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diagnose.noisyor.network import Floats, Network
from diagnose.noisyor.plan import NEGLIGIBLE
from diagnose.noisyor.solver import Solver
from diagnose.record import record


@record
class Posterior:
    """Beliefs given all present and absent findings; open findings do not count.

    Parameters
    ----------
    network: what was asked about.
    log_evidence: natural log of the probability of the findings; -inf when impossible.
    flat: (states) posterior probability of every flat state.
    """

    network: Network
    log_evidence: float
    flat: Floats

    def marginal(self, name: str) -> Floats:
        """Posterior probability of each state of the variable ``name``.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> fever = Finding("fever", {"flu": (1, 0)}, leak=0.25, present=True)
        >>> found = posterior(Network.of([Variable("flu", (0.8, 0.2))], [fever]))
        >>> found.marginal("flu").round(6).tolist()  # 0.8 * 0.25 = 0.2 * 1
        [0.5, 0.5]
        """
        v = self.network.index(name)
        return self.flat[self.network.offsets[v] : self.network.offsets[v + 1]]

    def probability(self, states: Mapping[str, Sequence[int]]) -> float:
        """Joint posterior probability that every named variable is in one of the states.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> coins = [Variable("a", (0.5, 0.5)), Variable("b", (0.5, 0.5))]
        >>> either = Finding("either", {"a": (1, 0), "b": (1, 0)}, present=True)
        >>> round(posterior(Network.of(coins, [either])).probability({"a": [1], "b": [1]}), 6)
        0.333333
        """
        joint = log_evidence(self.network.restricted(states))
        return float(np.exp(joint - self.log_evidence))


def posterior(network: Network, negligible: float = NEGLIGIBLE) -> Posterior:
    """The exact posterior of a network; no more than ``negligible`` of the evidence is left out.

    With evidence of probability zero ``log_evidence`` is -inf and ``flat`` is all zero:
    see `conflict` for which findings cannot stand together.

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> network = Network.of(
    ...     [Variable("cold", (0.8, 0.2)), Variable("flu", (0.9, 0.1))],
    ...     [Finding("fever", {"cold": (1, 0.6), "flu": (1, 0.2)}, present=True)],
    ... )
    >>> posterior(network).marginal("flu").round(5).tolist()
    [0.46875, 0.53125]
    """
    solver = Solver.of(network.observed(), negligible)
    flat = None if solver is None else solver.marginals()
    if solver is None or flat is None:
        return Posterior(network, -np.inf, np.zeros(network.states))
    return Posterior(network, solver.log_evidence, flat)


def log_evidence(network: Network) -> float:
    """Natural log of the probability of the findings alone (half the work of `posterior`).

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> coins = [Variable("a", (0.5, 0.5)), Variable("b", (0.5, 0.5))]
    >>> either = Finding("either", {"a": (1, 0), "b": (1, 0)}, present=True)
    >>> round(float(np.exp(log_evidence(Network.of(coins, [either])))), 6)
    0.75
    """
    solver = Solver.of(network.observed())
    return -np.inf if solver is None else solver.log_evidence


def conflict(network: Network) -> tuple[str, ...]:
    """A smallest set of findings that cannot stand together; empty when all can.

    Leaving out any one of them makes the rest possible (deletion-based, one pass).

    >>> from diagnose.noisyor.network import Finding, Variable
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
