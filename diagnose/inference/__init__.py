"""Inference in noisy-OR networks whose causes have many states: exact, and certified beyond.

Nothing in this package knows about planters. A network has *variables*, each in exactly
one of its states, and *findings*, each present or absent. A finding is absent only if
every one of its parents lets it be so and its own leak does not strike::

    P(absent | states) = (1 - leak) * product over parents of survival[parent's state]

This is the leaky noisy-OR of Henrion with the two layers of Heckerman (1989), "A tractable
inference algorithm for diagnosing multiple diseases", widened to causes of many states.

How the answer is found, in the order of the modules:

`network`
    the description, as flat arrays; `Network.of` builds one from readable pieces.
`expansion`
    1 - u x = (1 - u) + u (1 - x): the presence expansion, which never subtracts.
`aggregation`
    states that nothing later tells apart become one.
`batching`, `private`, `decomposition`
    in which batches findings are visited, the variables that matter to one batch only, and the
    role of all others: wide or narrow.
`pruning`, `cutset`
    what may be left out; the joint states of wide variables, on which all else is conditioned.
`elimination`
    forward and backward along an order of visits, with a frontier of narrow variables.
`solver`, `posterior`
    log evidence, every marginal, joint probabilities, what these are off by at most (Henrion 1991,
    "Search-based methods to bound diagnostic probabilities in very large belief nets"), and
    which findings cannot stand together.
`explanation`
    what may happen next, and which single cause of one present finding it speaks for.
"""

from diagnose.inference.network import Finding, Network, Variable
from diagnose.inference.posterior import Posterior, posterior

__all__ = ["Finding", "Network", "Posterior", "Variable", "posterior"]
