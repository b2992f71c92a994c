"""Several variables taken as one: joint states that no finding can tell apart are merged.

Chances in a rule base come from a short scale, so products of survivals meet again and
again; merging keeps the exact answer with far fewer states.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from diagnose.noisyor.arrays import distinct
from diagnose.noisyor.budget import table
from diagnose.noisyor.merging import Merging
from diagnose.noisyor.network import Floats, Ints
from diagnose.noisyor.repeats import Repeats
from diagnose.record import record

FLOOR = -800.0
"""A log survival below this is zero in double precision; used in place of minus infinity."""

MANY = 500
"""Of more states, those that can all be left out together are, before the rest is sorted."""

BUNDLING = 4
"""So many tables of its size stand together while a table of joint states is merged."""

_GRAIN = 2.0**40
_MOST_COLUMNS = 4096


def _multipliers() -> NDArray[np.int64]:
    """Odd numbers without any simple relation between them (Steele et al. 2014, SplitMix).

    Multiples of one number will not do: rows whose logs stand in a simple ratio would collide.
    """
    z = np.arange(1, _MOST_COLUMNS + 1, dtype=np.uint64) * np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return ((z ^ (z >> np.uint64(31))) | np.uint64(1)).view(np.int64)


_MULTIPLIERS = _multipliers()


@record
class Part:
    """One variable inside a bundle: its number, the weight of its states, their survivals.

    ``log_survival`` is (states, columns): one column per kind of finding.
    """

    variable: int
    weight: Floats
    log_survival: Floats


@record
class _Stage:
    part: Part
    kept: Ints
    before: Floats
    into: Ints
    after: Floats


@record
class Bundle:
    """Merged joint states: their weights (M) and log survivals (M, columns)."""

    weight: Floats
    log_survival: Floats
    stages: tuple[_Stage, ...]

    def with_parts(self, parts: Sequence[Part]) -> Bundle:
        """The same of other variables with the same weights and survivals.

        >>> part = Part(0, np.array([0.5, 0.5]), np.log([[1.0], [0.5]]))
        >>> other = bundle([part], 1).with_parts([replace(part, variable=7)])
        >>> found = other.marginals(np.array([0.2, 0.8]))
        >>> {v: states.round(6).tolist() for v, states in found.items()}
        {7: [0.2, 0.8]}
        """
        pairs = zip(self.stages, parts, strict=True)
        return replace(self, stages=tuple(replace(stage, part=part) for stage, part in pairs))

    def marginals(self, posterior: Floats) -> dict[int, Floats]:
        """Posterior weight of each variable's states, from that of the merged states.

        >>> first = Part(0, np.array([0.5, 0.5]), np.log([[1.0], [0.5]]))
        >>> both = bundle([first, replace(first, variable=1, weight=np.array([0.75, 0.25]))], 1)
        >>> one_is_bad = both.marginals(np.array([0.0, 1.0, 0.0]))
        >>> one_is_bad[0].round(6).tolist(), one_is_bad[1].round(6).tolist()
        ([0.25, 0.75], [0.75, 0.25])
        """
        found: dict[int, Floats] = {}
        for stage in reversed(self.stages):
            share = np.divide(
                posterior, stage.after, out=np.zeros_like(posterior), where=stage.after > 0
            )
            padded = np.append(share, 0.0)[stage.into]
            pairs = padded.reshape(len(stage.before), -1) * stage.before[:, None]
            pairs *= stage.part.weight[stage.kept]
            states = np.zeros(len(stage.part.weight))
            states[stage.kept] = pairs.sum(axis=0)
            found[stage.part.variable] = states
            posterior = pairs.sum(axis=1)
        return found

    def weights_under(self, readings: Sequence[Mapping[int, NDArray[np.bool_]]]) -> Floats:
        """(M, readings) weights of the merged states when variables may take only some states.

        >>> first = Part(0, np.array([0.5, 0.5]), np.log([[1.0], [0.5]]))
        >>> both = bundle([first, replace(first, variable=1, weight=np.array([0.75, 0.25]))], 1)
        >>> both.weights_under([{}, {0: np.array([False, True])}]).tolist()
        [[0.375, 0.0], [0.5, 0.375], [0.125, 0.125]]
        """
        weight: Floats = np.ones((1, len(readings)))
        for stage in self.stages:
            table(len(stage.into) * len(readings), 2.0)
            own = np.repeat(stage.part.weight[stage.kept, None], len(readings), axis=1)
            for column, allowed in enumerate(readings):
                if stage.part.variable in allowed:
                    own[:, column] *= allowed[stage.part.variable][stage.kept]
            pairs = (weight[:, None] * own).reshape(-1, len(readings))
            weight = Merging(stage.into, len(stage.after)).summed(pairs)
        return weight


def bundle(
    parts: Sequence[Part], columns: int, spare: float = 0.0, repeats: Sequence[Repeats] = ()
) -> Bundle:
    """Join the parts into one variable.

    Parameters
    ----------
    columns: how many columns every part's ``log_survival`` has.
    spare: the lightest joint states may be left out as long as their weight, with all that
        is still to come at its heaviest, stays below this for each part. The caller must know
        that so little cannot matter.
    repeats: variables that may change places: joint states that differ by that alone are merged.

    >>> fair = Part(0, np.array([0.5, 0.5]), np.log([[1.0], [0.5]]))
    >>> both = bundle([fair, Part(1, fair.weight, fair.log_survival)], 1)
    >>> both.weight.tolist(), np.exp(both.log_survival[:, 0]).round(6).tolist()
    ([0.25, 0.5, 0.25], [1.0, 0.5, 0.25])
    """
    weight: Floats = np.ones(1)
    logs = np.zeros((1, columns))
    to_come = np.append(np.cumprod([part.weight.sum() for part in parts][::-1])[::-1], 1.0)[1:]
    stages = []
    turns = {v: (each, n) for each in repeats for n, v in enumerate(each.variables, start=1)}
    for part, rest in zip(parts, to_come, strict=True):
        kept = np.flatnonzero(part.weight > 0)
        table(BUNDLING * len(weight) * len(kept) * (columns + 2), 2.0)
        joint = (weight[:, None] * part.weight[kept]).ravel()
        joined = (logs[:, None, :] + np.maximum(part.log_survival[kept], FLOOR)).reshape(
            len(joint), columns
        )
        if part.variable in turns:
            joined = _in_order(joined, *turns[part.variable])
        first, into, after = merged(joint, joined, spare / rest)
        stages.append(_Stage(part, kept, weight, into, after))
        weight, logs = after, joined[first]
    return Bundle(weight, logs, tuple(stages))


def _in_order(logs: Floats, repeats: Repeats, so_many: int) -> Floats:
    """Log survivals with the columns of variables that may change places in one order."""
    own = np.maximum(logs[:, repeats.columns[:so_many]], FLOOR)
    numbers = np.rint(own * _GRAIN).astype(np.int64) @ _MULTIPLIERS[: own.shape[-1]]
    return repeats.sorted(logs, so_many, numbers)


class Bundles:
    """Bundles that may lose so little; parts of the same content are joined only once."""

    def __init__(self, spare: float) -> None:
        self.spare = spare
        self._known: dict[tuple[bytes, ...], Bundle] = {}

    def of(self, parts: Sequence[Part], columns: int, repeats: Sequence[Repeats] = ()) -> Bundle:
        """The parts as one variable: see `bundle`.

        >>> bundles, weight = Bundles(0.0), np.array([0.5, 0.25])
        >>> one, other = (bundles.of([Part(v, weight, np.zeros((2, 1)))], 1) for v in (3, 8))
        >>> one.weight.tolist(), one.weight is other.weight, list(other.marginals(other.weight))
        ([0.75], True, [8])
        """
        tables = (table for part in parts for table in (part.weight, part.log_survival))
        content = tuple(table.tobytes() for table in tables)
        if repeats:
            return bundle(parts, columns, self.spare, repeats)
        if content not in self._known:
            self._known[content] = bundle(parts, columns, self.spare)
        return self._known[content].with_parts(parts)


def merged(joint: Floats, logs: Floats, spare: float) -> tuple[Ints, Ints, Floats]:
    """Merge joint states that are alike; drop the lightest, together at most ``spare``.

    Returns
    -------
    first: an example of each merged state.
    into: the merged state that each joint one goes into; one past the last when dropped.
    weight: of the merged states.

    >>> logs = np.array([[0.0], [-1.0], [0.0]])
    >>> [table.tolist() for table in merged(np.array([0.5, 0.25, 0.25]), logs, 0.0)]
    [[0, 1], [0, 1, 0], [0.75, 0.25]]
    >>> [table.tolist() for table in merged(np.array([0.5, 0.25, 0.25]), logs, 0.3)]
    [[0], [0, 1, 0], [0.75]]
    """
    first, into = alike(logs)
    weight: Floats = np.bincount(into, joint, len(first)).astype(float)
    kept = heavy(weight, spare)
    if len(kept) == len(weight):
        return first, into, weight
    number = np.full(len(weight), len(kept))
    number[kept] = np.arange(len(kept))
    return first[kept], number[into], weight[kept]


def heavy(weight: Floats, spare: float) -> Ints:
    """Which states remain, in order, when the lightest are left out; the heaviest always does.

    >>> heavy(np.array([0.7, 0.1, 0.05]), 0.2).tolist()
    [0]
    """
    if len(weight) > MANY:
        apart = weight * len(weight) > spare
        if apart.any():
            able = np.flatnonzero(apart)
            return able[_heavy(weight[able], spare - float(weight[~apart].sum()))]
    return _heavy(weight, spare)


def _heavy(weight: Floats, spare: float) -> Ints:
    light_first = weight.argsort()
    light = int(weight[light_first].cumsum().searchsorted(spare, side="right"))
    kept: Ints = light_first[min(light, max(len(weight) - 1, 0)) :]
    kept.sort()
    return kept


def alike(logs: Floats) -> tuple[Ints, Ints]:
    """Group rows of log survivals that are equal to within 1e-12.

    Returns
    -------
    first: the first row of each group, in order of appearance.
    into: (rows) the group that each row belongs to.

    >>> first, into = alike(np.array([[0.0], [-1.0], [0.0]]))
    >>> first.tolist(), into.tolist()
    ([0, 1], [0, 1, 0])
    """
    rounded = np.maximum(logs, FLOOR)
    rounded *= _GRAIN
    np.rint(rounded, out=rounded)
    first, into = distinct(rounded.astype(np.int64) @ _MULTIPLIERS[: logs.shape[1]])
    if len(first) == len(into):
        everyone = np.arange(len(into))
        return everyone, everyone
    order = first.argsort()
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    return first[order], rank[into]
