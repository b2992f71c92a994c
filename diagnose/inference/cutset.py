"""The cutset: joint states of the wide variables, on which all else is conditioned.

Given one of them the sections of a network hang together by few variables (Pearl's cutset
conditioning); all are worked out side by side, along the last axis of every table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from diagnose.arrays import Floats, Ints
from diagnose.inference.aggregation import FLOOR, group_equal
from diagnose.inference.budget import LARGEST, spend, table
from diagnose.inference.decomposition import Decomposition, Part, VisitGroup
from diagnose.inference.expansion import Survival, apply_transition, leaving, survival, width
from diagnose.inference.pruning import LOWEST_LOG, Pruner
from diagnose.record import record

_BESIDE = 4
"""So many tables of its size stand together while joint states are made."""

COMPOUND = -1
"""The number of a variable that stands for joint states of others."""

_FEW = 256
"""Up to so many joint states none is left out before all variables are there."""


@record
class Stage:
    """A variable joined: the weights ``before``, the pairs kept, where they went, those after."""

    part: Part
    before: Floats
    pairs: Ints
    into: Ints
    after: Floats

    def only(self, kept: Ints) -> Stage:
        """The same when only these states remain, in this order."""
        number: Ints = np.full(len(self.after), -1, dtype=np.intp)
        number[kept] = np.arange(len(kept))
        stay = number[self.into] >= 0
        into: Ints = number[self.into[stay]]
        return replace(self, pairs=self.pairs[stay], into=into, after=self.after[kept])


@record
class Cutset:
    """Joint states, those that can matter most first.

    ``weight`` (T) is their weight, ``logs`` (T, columns) their log survivals, ``bounds`` (groups,
    T) the log of what each group contributes at most, ``most`` (T) of what all of it comes to,
    ``labels`` (T) which of the causes numbered they have.
    """

    weight: Floats
    logs: Floats
    bounds: Floats
    most: Floats
    labels: Ints
    stages: Sequence[Stage]

    def marginals(self, posterior: Floats) -> Mapping[int, Floats]:
        """Posterior weight of each variable's states, from the (T) posterior of the joint ones."""
        found: dict[int, Floats] = {}
        for stage in reversed(self.stages):
            share = np.divide(
                posterior, stage.after, out=np.zeros_like(posterior), where=stage.after > 0
            )
            old, own = np.divmod(stage.pairs, len(stage.part.weight))
            pairs = share[stage.into] * stage.before[old] * stage.part.weight[own]
            found[stage.part.variable] = _totals(own, pairs, len(stage.part.weight))
            posterior = _totals(old, pairs, len(stage.before))
        return found


class Conditions:
    """Some joint states of the cutset as the groups meet them."""

    def __init__(self, met: Survival) -> None:
        self.u, self.gone = met
        self.size = len(self.u)
        self._left: dict[object, Floats] = {}

    def at(self, rows: Ints) -> Conditions:
        """Some of the joint states."""
        some = Conditions((self.u[rows], self.gone[rows]))
        some._left = {key: left[:, rows] for key, left in self._left.items()}
        return some

    def left(self, group: VisitGroup) -> Floats:
        """(N, T) what leaks and wide variables leave to a group, by multi-index."""
        key = tuple(kind.outside for kind in group.classes)
        if not key:
            return np.ones((1, self.size))
        if key not in self._left:
            self._left[key] = leaving(
                [[(*self.met(*outside), count) for outside, count in kind] for kind in key]
            )
            spend(self._left[key].size * (1.0 + len(key)))
        return self._left[key]

    def met(self, column: int, leak: float) -> Survival:
        """(T) what a finding meets of its leak and the wide variables."""
        u = self.u[:, column]
        return u * (1 - leak), self.gone[:, column] + u * leak


def met_by(group: VisitGroup, narrow: Survival, place: Mapping[int, int]) -> list[Survival]:
    """By class of a group the (1, D) survivals of D narrow states, in the columns at ``place``."""
    u, gone = narrow
    columns = [place[kind.narrow] for kind in group.classes]
    return [(u[None, :, k], gone[None, :, k]) for k in columns]


def explained(
    group: VisitGroup, polynomials: Floats, narrow: Survival, place: Mapping[int, int]
) -> Floats:
    """(batches, D, N) what each multi-index is worth to narrow and private states together.

    ``polynomials`` (batches, N) are what it is worth to the private states alone.
    """
    if not group.classes:
        return polynomials[:, None].repeat(len(narrow[0]), axis=1)
    own = met_by(group, narrow, place)
    return apply_transition(polynomials[..., None], own, group.counts).swapaxes(1, 2)


class Bounds:
    """Bounds of what each group contributes, above with all narrow variables at their worst.

    And below with all of them at their heaviest states: then no finding is the less explained.
    """

    def __init__(self, plan: Decomposition) -> None:
        logs = np.zeros((2, max(plan.narrow_columns, 1)))
        for part in plan.narrow:
            logs[0, part.columns] += part.logs.min(axis=0)
            logs[1, part.columns] += part.logs[part.weight.argmax()]
        every = survival(logs)
        place = {column: column for column in range(logs.shape[1])}
        self.alike: dict[object, list[int]] = {}
        for g, group in enumerate(plan.groups):
            self.alike.setdefault(tuple(kind.outside for kind in group.classes), []).append(g)
        self.groups = plan.groups
        self.worth = [
            explained(group, plan.families[group.family].polynomial[group.rows], every, place)
            for group in plan.groups
        ]
        self.each = sum(
            len(some) * width(self.groups[some[0]].counts) / 8
            + sum((1 + kind.count) ** 2 for kind in self.groups[some[0]].classes)
            for some in self.alike.values()
        )
        self.narrow = float(sum(np.log(part.weight.sum()) for part in plan.narrow))

    def lowest(self, plan: Decomposition) -> float:
        """A lower bound of the log evidence.

        All variables are at their heaviest states, or one wide variable is at another one.
        """
        base = np.zeros((1, max(plan.wide_columns, 1)))
        best = [int(part.weight.argmax()) for part in plan.wide]
        for part, state in zip(plan.wide, best, strict=True):
            base[:, part.columns] += part.logs[state]
        weights, logs = [np.zeros(1)], [base]
        for part, state in zip(plan.wide, best, strict=True):
            others = np.delete(np.arange(len(part.weight)), state)
            changed = base.repeat(len(others), axis=0)
            changed[:, part.columns] += part.logs[others] - part.logs[state]
            with np.errstate(divide="ignore"):
                weights.append(np.log(part.weight[others]))
            logs.append(changed)
        conditions = Conditions(survival(np.concatenate(logs)))
        found = np.concatenate(weights) + self._of_groups(conditions, 1).sum(axis=0)
        return float(np.logaddexp.reduce(found))

    def bound(
        self, weight: Floats, logs: Floats, rest: Sequence[Part] = ()
    ) -> tuple[Floats, Floats]:
        """Log bounds of all that joint states contribute, (T), and of each group, (groups, T).

        Variables of the ``rest`` are yet to join them. Many states are taken some at a time.
        """
        widest = max((width(group.counts) for group in self.groups), default=1)
        some = max(LARGEST // (4 * widest), 1)
        starts = range(0, len(logs), some)
        parts = [self._of_groups(_conditions(logs[k : k + some])) for k in starts]
        bounds = np.concatenate(parts, axis=1)
        to_come = self.narrow + float(sum(np.log(part.weight.sum()) for part in rest))
        with np.errstate(divide="ignore"):
            return np.log(weight) + bounds.sum(axis=0) + to_come, bounds

    def _of_groups(self, conditions: Conditions, narrow: int = 0) -> Floats:
        bounds = np.empty((len(self.groups), conditions.size))
        for members in self.alike.values():
            worth = np.concatenate([self.worth[g][:, narrow] for g in members])
            starts = np.cumsum([0, *(len(self.worth[g]) for g in members[:-1])])
            with np.errstate(divide="ignore"):
                logs = np.log(worth @ conditions.left(self.groups[members[0]]))
            spend(logs.size * (2.0 + worth.shape[1] / 8))
            bounds[members] = np.add.reduceat(logs, starts, axis=0)
        return np.maximum(bounds, LOWEST_LOG)


def cutset(
    plan: Decomposition,
    bounds: Bounds,
    pruner: Pruner,
    room: float = np.inf,
    labels: Mapping[int, Ints] | None = None,
) -> tuple[Cutset, Conditions]:
    """Join the wide variables one by one; what cannot matter any more is left out on the way.

    At no time is there more than ``room`` for table entries. ``labels`` numbers states of some
    variables; joint states have the sum, or -1 where several states with a number meet, and such
    as differ in it are kept apart. With a `COMPOUND` variable among these, no several are kept.
    """
    parts = sorted(plan.wide, key=_place)
    weight: Floats = np.ones(1)
    logs: Floats = np.zeros((1, plan.wide_columns + 1))
    stages: list[Stage] = []
    alike = exchangeable(plan, labels or {})
    for k, part in enumerate(parts):
        before = weight
        number = (labels or {}).get(part.variable)
        first, into, logs = _joined(logs, part, number, _complete(parts, k, alike))
        weight = _totals(into, (before[:, None] * part.weight).ravel(), len(first))
        stages.append(Stage(part, before, np.arange(len(into)), into, weight))
        if labels and COMPOUND in labels:
            single = np.flatnonzero(logs[:, -1] >= 0)
            weight, logs, stages[-1] = weight[single], logs[single], stages[-1].only(single)
        if len(first) > _FEW and k < len(parts) - 1:
            rest = parts[k + 1 :]
            most, _ = bounds.bound(weight, _worst(logs, rest), rest)
            each = len(rest[0].weight) * (_BESIDE * (logs.shape[1] + 2) + bounds.each / 2)
            kept = pruner.keep(pruner.worth(most), min(room, LARGEST) / each)
            weight, logs, stages[-1] = weight[kept], logs[kept], stages[-1].only(kept)
    most, by_group = bounds.bound(weight, logs)
    kept = pruner.keep(pruner.worth(most), room / (logs.shape[1] + 4 * bounds.each))
    kept = kept[np.argsort(-most[kept], kind="stable")]
    stages[-1:] = [stage.only(kept) for stage in stages[-1:]]
    chosen, labelled = logs[kept, :-1], logs[kept, -1].astype(np.intp)
    found = Cutset(weight[kept], chosen, by_group[:, kept], most[kept], labelled, stages)
    return found, _conditions(logs[kept])


def _totals(into: Ints, weight: Floats, size: int) -> Floats:
    return np.bincount(into, weight, size).astype(float)


def _place(part: Part) -> tuple[bool, int, list[int], int]:
    """What tells many kinds of findings apart joins first, then all that bears on one of them.

    So the findings are explained one after another, and bounds get close.
    """
    return part.variable >= 0, -len(part.columns), part.columns.tolist(), len(part.weight)


def _conditions(logs: Floats) -> Conditions:
    return Conditions(survival(logs[:, :-1]))


def exchangeable(plan: Decomposition, labels: Mapping[int, Ints]) -> list[Ints]:
    """Wide columns that may change places: those of occasions that are alike in all.

    The same run made n times over then counts as sets: how many of its runs are in which state,
    (n + 7 choose 7) of them and not 8 ** n. A named acceleration: eight failing runs of all rows of
    a machine of six are exact in 0.1 s with it, and bounded within 0.02 without.
    """
    met: dict[int, list[object]] = {column: [] for column in range(plan.wide_columns)}
    for g, group in enumerate(plan.groups):
        for k, kind in enumerate((*group.classes, *group.queries)):
            for (column, leak), times in kind.outside:
                met[column].append((g, k, leak, times))
    for part in plan.wide:
        own = part.columns.tolist()
        for column, logs in zip(own, part.logs.T, strict=True):
            content: tuple[object, ...] = (part.weight.tobytes(), logs.tobytes())
            if len(own) > 1 or part.variable in labels:
                content = (part.variable, *content)
            met[column].append(content)
    alike: dict[object, list[int]] = {}
    for column, content_of in met.items():
        alike.setdefault(tuple(content_of), []).append(column)
    return [np.array(columns) for columns in alike.values() if len(columns) > 1]


def _complete(parts: Sequence[Part], k: int, alike: Sequence[Ints]) -> Ints:
    """The columns, alike, to which no variable behind the k-th adds; none if it adds to none."""
    own = parts[k].columns.tolist()
    if len(own) != 1 or (k + 1 < len(parts) and parts[k + 1].columns.tolist() == own):
        return np.zeros(0, dtype=np.intp)
    same = (columns[columns <= own[0]] for columns in alike if own[0] in columns)
    return next(same, np.zeros(0, dtype=np.intp))


def _joined(
    logs: Floats, part: Part, labels: Ints | None, alike: Ints
) -> tuple[Ints, Ints, Floats]:
    """Joint states with another variable: an example of each new one, where each goes, its logs.

    The last column has the labels; columns that are alike stand in order.
    """
    table(_BESIDE * len(logs) * len(part.weight) * (logs.shape[1] + 2))
    joined = logs[:, None].repeat(len(part.weight), axis=1)
    joined[:, :, part.columns] += part.logs
    if labels is not None:
        before = joined[:, :, -1]
        joined[:, :, -1] = np.where((before != 0) & (labels != 0), -1, before + labels)
    joined = np.maximum(joined, FLOOR, out=joined).reshape(-1, logs.shape[1])
    if len(alike) > 1:
        joined[:, alike] = np.sort(joined[:, alike], axis=1)
    first, into = group_equal(joined)
    return first, into, joined[first]


def _worst(logs: Floats, parts: Sequence[Part]) -> Floats:
    """Log survivals when some variables are at their worst."""
    worst = logs.copy()
    for part in parts:
        worst[:, part.columns] += part.logs.min(axis=0)
    return worst
