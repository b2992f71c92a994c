"""In which batches findings are visited: what is summed out given what.

By default the findings of one site go together: its parts are summed out given the causes that
other sites share, those of the single runs among them. Many runs over few sites are better taken
the other way round: the causes of one run are summed out given the parts. And a site that has
been seen too often for that is visited finding by finding.
"""

from __future__ import annotations

from collections import Counter
from math import comb, log

import numpy as np

from diagnose.arrays import Ints
from diagnose.inference.aggregation import distinct

_WIDEST = 512
"""A batch has at most so many multi-indices."""

LARGEST_OCCASION = 6
"""So many findings of one occasion can be visited together: they have up to 64 multi-indices."""

SITE_COST, SHARED_COST = 1.8, 5.0
"""Logs of how many states the parts of a site multiply a cutset by, and those that sites share."""

STATES = 8
"""About how many states the causes of an occasion have. Those of n that are alike count as sets."""


def rebatched(batch: Ints, widths: Ints, occasion: Ints) -> Ints | None:
    """Other batches of some findings, when those by site would cost more; else None.

    Parameters
    ----------
    batch: of each finding, its site.
    widths: by site, how many multi-indices it has.
    occasion: of each finding, its occasion.
    """
    wide = widths > _WIDEST
    sizes = np.bincount(occasion)
    pairs = occasion * len(widths) + batch
    sites = np.bincount(pairs[distinct(pairs)[0]] // len(widths), minlength=len(sizes))
    cheaper = _sets(batch, occasion, sites > 1) > SITE_COST * len(widths) + SHARED_COST
    if (cheaper or wide.any()) and sizes.max(initial=0) <= LARGEST_OCCASION:
        return occasion
    if not wide.any():
        return None
    return np.where(wide[batch], len(widths) + np.arange(len(batch)), batch)


def _sets(batch: Ints, occasion: Ints, several: np.typing.NDArray[np.bool_]) -> float:
    """Log of how many states all occasions at several sites have; the same sites are alike."""
    alike = Counter(tuple(batch[occasion == k].tolist()) for k in np.flatnonzero(several))
    return sum(log(comb(count + STATES - 1, count)) for count in alike.values())
