"""What may be left out, and how much that is at most.

What a state can still contribute to the evidence is at most its weight times an upper bound of
what lies ahead. Set against a lower bound of the evidence this is a share; the lightest states go
as long as their shares, added up over everything left out, stay below what is allowed, or as
there are more than the budget holds.
"""

from __future__ import annotations

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.aggregation import keep_mass

LOWEST_LOG = -1e9
"""In place of the log of zero, where logs are subtracted."""

_LARGEST_LOG = 600.0
"""Shares are bounded by no more than exp of this: smaller weights have all but underflown."""


class Pruner:
    """Leaves out states, and adds up what they can carry at most.

    Parameters
    ----------
    floor: lower bound of the log evidence; -inf when none is known.
    spare: the share of it that may be left out at each turn.
    most: how many states remain at most.

    ``lost`` is the share of exp(floor) that all states left out carry at most.
    """

    def __init__(self, floor: float, spare: float, most: float = np.inf) -> None:
        self.floor, self.spare, self.most, self.lost = floor, spare, most, 0.0

    def worth(self, bound: Floats) -> Floats:
        """Shares of log bounds in the evidence known."""
        shares: Floats = np.exp(np.minimum(bound - self.floor, _LARGEST_LOG))
        return shares

    def keep(self, worth: Floats, room: float = np.inf) -> Ints:
        """The states to keep, in order; so many that there is ``room`` for, the heaviest at least.

        >>> pruner = Pruner(floor=0.0, spare=0.1)
        >>> pruner.keep(np.array([0.05, 0.7, 0.25])).tolist(), pruner.lost
        ([1, 2], 0.05)
        >>> pruner.keep(np.array([0.05, 0.7, 0.25]), room=1).tolist(), round(pruner.lost, 6)
        ([1], 0.35)
        """
        kept = keep_mass(worth, self.spare)
        most = max(int(min(self.most, room, len(kept))), 1)
        if len(kept) > most:
            kept = np.sort(kept[np.argpartition(worth[kept], -most)[-most:]])
        if len(kept) < len(worth):
            gone = np.ones(len(worth), dtype=bool)
            gone[kept] = False
            self.lost += float(worth[gone].sum())
        return kept

    @property
    def log_lost(self) -> float:
        """Log of what all states left out carry at most."""
        return self.floor + float(np.log(self.lost)) if self.lost else -np.inf
