"""Exact inference in noisy-OR networks whose causes have many states.

Nothing in this package knows about planters. A network has *variables*, each in exactly
one of its states, and *findings*, each present or absent. A finding is absent only if
every one of its parents lets it be so and its own leak does not strike::

    P(absent | states) = (1 - leak) * product over parents of survival[parent's state]

This is the leaky noisy-OR of Henrion with the two layers of Heckerman (1989), "A tractable
inference algorithm for diagnosing multiple diseases", widened to causes of many states.

How the answer is found, in the order of the modules:

`network`
    the description, as flat arrays; `Network.of` builds one from readable pieces.
`repeats`
    what was tried again and again, taken together.
`kernel`
    1 - u x = (1 - u) + u (1 - x): the expansion that never subtracts.
`bundle`
    several variables as one, their joint states merged where no finding tells them apart.
`site`
    the variables that matter to one site only, summed away.
`factor`
    what alike sites contribute, for every joint state of what lies outside them.
`layout`
    which sites look alike, which variables everything shares, and which few sites share.
`least`, `plan`
    the network taken apart, and how much weight can be left out when bundles are made.
`course`
    in which order groups of sites are visited, which shared variables join on the way, and
    which parts of the network are twins, so that one of them need be swept only.
`merging`
    many states into few, and values carried there and back.
`sweep`
    forward and backward along a course.
`explore`
    laying out a sweep while it goes forward, without the states that cannot matter.
`solver`
    a plan swept block by block.
`posterior`
    log evidence, every marginal, joint probabilities, and which findings cannot stand together.
`calibrated`, `outlook`
    what may happen next, and which single cause of one present finding it speaks for.
"""

from diagnose.noisyor.network import Finding, Network, Variable
from diagnose.noisyor.posterior import Posterior, posterior

__all__ = ["Finding", "Network", "Posterior", "Variable", "posterior"]
