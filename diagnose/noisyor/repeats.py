"""Findings that say the same again, each with a variable of its own: taken together, exactly.

When something is tried again and again, every try brings a variable (its circumstances) and
findings that differ from those of the other tries in nothing else. Tried at one site only, such a
variable is no more than a leak of its one finding; the tries are then alike, and one of them
stands for all. Tried at several sites, the variables change places without any change in the
whole, so their joint states count as sets: how many are in which state.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from diagnose.noisyor.network import PRESENT, Floats, Ints, Network
from diagnose.record import record

MANY = 3
"""So many tries that are alike are taken together; two would gain nothing."""

Content = tuple[object, ...]


@record
class Folded:
    """A network in which variables of repeated tries became leaks.

    ``standing`` says, for each variable that did, which one has the same posterior;
    ``exchangeable`` are the variables that may change places, list by list.
    """

    network: Network
    standing: Mapping[int, int]
    exchangeable: Sequence[Sequence[int]] = ()


class Bearing:
    """What bears on the present findings: entries that matter, by finding and by variable."""

    def __init__(self, network: Network, weight: Floats) -> None:
        self.network, self.weight = network, weight
        matters = (network.log_survival < 0) & (weight[network.state] > 0)
        self.entries = np.flatnonzero(matters & (network.outcome[network.finding_of] == PRESENT))
        self.finding = network.finding_of[self.entries]
        self.variable = network.variable_of[network.state[self.entries]]

    def findings_of(self) -> dict[int, list[int]]:
        """By variable, the present findings that it bears on.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> told = [Finding(name, {"flu": (1, 0.5)}, present=True) for name in ("fever", "cough")]
        >>> network = Network.of([Variable("flu", (0.9, 0.1))], told)
        >>> Bearing(network, network.prior).findings_of()
        {0: [0, 1]}
        """
        pairs = dict.fromkeys(zip(self.variable.tolist(), self.finding.tolist(), strict=True))
        found: dict[int, list[int]] = defaultdict(list)
        for v, f in pairs:
            found[v].append(f)
        return dict(found)

    def content(self, finding: int, without: int) -> Content:
        """All that is to be said of a finding, with one variable by its content, not by name.

        >>> from diagnose.noisyor.network import Finding, Variable
        >>> two = [Variable("cold", (0.9, 0.1)), Variable("flu", (0.9, 0.1))]
        >>> told = [Finding(each.name, {each.name: (1, 0.5)}, present=True) for each in two]
        >>> bearing = Bearing(network := Network.of(two, told), network.prior)
        >>> bearing.content(0, 0)[1:] == bearing.content(1, 1)[1:]  # at sites of their own
        True
        """
        network = self.network
        start, stop = np.searchsorted(self.finding, [finding, finding + 1])
        entries, variable = self.entries[start:stop], self.variable[start:stop]
        own, others = entries[variable == without], entries[variable != without]
        first, last = network.offsets[without : without + 2]
        return (
            int(network.site[finding]),
            float(network.leak[finding]),
            network.state[others].tobytes(),
            network.log_survival[others].tobytes(),
            (network.state[own] - first).tobytes(),
            network.log_survival[own].tobytes(),
            self.weight[first:last].tobytes(),
        )


def repeated(network: Network) -> bool:
    """Whether some site has so many present findings of one leak that tries may be alike.

    Most networks have none, and this is all that is asked of them.

    >>> from diagnose.noisyor.network import Finding
    >>> repeated(Network.of([], [Finding(each, {}, 0.5, True, site=1) for each in "abc"]))
    True
    >>> leaks = zip("abc", (0.5, 0.2, 0.5))
    >>> repeated(Network.of([], [Finding(each, {}, leak, True, site=1) for each, leak in leaks]))
    False
    """
    present = network.outcome == PRESENT
    sites, leaks = network.site[present].tolist(), network.leak[present].tolist()
    return max(Counter(zip(sites, leaks, strict=True)).values(), default=0) >= MANY


def folded(network: Network, weight: Floats, kept: int = -1) -> Folded:
    """The network with the variables of repeated tries as leaks, but for one that stands for them.

    ``weight`` are the (states) weights after the absent findings; the finding ``kept`` keeps all
    its variables.

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> tries = [Variable(name, (0.8, 0.2)) for name in "abc"]
    >>> fails = [Finding(f"fails-{t.name}", {t.name: (1, 0.5)}, 0.5, True, site=1) for t in tries]
    >>> found = folded(network := Network.of(tries, fails), network.prior)
    >>> found.standing, found.network.leak.round(6).tolist()  # 0.5 + 0.5 * 0.2 * 0.5
    ({1: 0, 2: 0}, [0.5, 0.55, 0.55])
    """
    if not repeated(network):
        return Folded(network, {})
    bearing = Bearing(network, weight)
    standing, leaks = _standing(bearing, kept)
    if leaks:
        bearing = Bearing(_with_leaks(network, weight, leaks), weight)
    return Folded(bearing.network, standing, exchangeable(bearing))


def _standing(bearing: Bearing, kept: int) -> tuple[dict[int, int], dict[int, int]]:
    """Which variables have another one stand for them, and of which finding each is a leak."""
    alike: dict[Content, dict[int, int]] = defaultdict(dict)
    for v, findings in bearing.findings_of().items():
        if len(findings) == 1:
            alike[bearing.content(findings[0], v)].setdefault(findings[0], v)
    standing: dict[int, int] = {}
    leaks: dict[int, int] = {}
    for tries in alike.values():
        chosen = kept if kept in tries else next(iter(tries))
        if len(tries) >= MANY:
            rest = {f: v for f, v in tries.items() if f != chosen and f not in leaks}
            standing |= dict.fromkeys(rest.values(), tries[chosen])
            leaks |= rest
    return standing, leaks


def _with_leaks(network: Network, weight: Floats, leaks: Mapping[int, int]) -> Network:
    """Of each finding one variable turned into a leak, averaged over its weights."""
    leak, log_survival = network.leak.copy(), network.log_survival.copy()
    for f, v in leaks.items():
        entries = np.arange(network.start[f], network.start[f + 1])
        entries = entries[network.variable_of[network.state[entries]] == v]
        first, last = network.offsets[v : v + 2]
        share = weight[first:last] / weight[first:last].sum()
        brings = -np.expm1(log_survival[entries]) @ share[network.state[entries] - first]
        leak[f] += (1 - leak[f]) * brings
        log_survival[entries] = 0.0
    return replace(network, leak=leak, log_survival=log_survival)


def exchangeable(bearing: Bearing) -> list[list[int]]:
    """Variables of repeated tries at several sites: those of each list may change places.

    >>> from diagnose.noisyor.network import Finding, Variable
    >>> tries = [Variable(name, (0.8, 0.2)) for name in "abc"]
    >>> fails = [
    ...     Finding(f"{site}-{t.name}", {t.name: (1, 0.5)}, 0.5, True, site=site)
    ...     for t in tries for site in (1, 2)
    ... ]
    >>> exchangeable(Bearing(network := Network.of(tries, fails), network.prior))
    [[0, 1, 2]]
    """
    network = bearing.network
    alike: dict[Content, list[int]] = defaultdict(list)
    for v, findings in bearing.findings_of().items():
        sites = network.site[findings]
        if len(findings) > 1 and len(set(sites.tolist())) == len(findings):
            in_order = sorted(findings, key=network.site.__getitem__)
            alike[tuple(bearing.content(f, v) for f in in_order)].append(v)
    return [each for each in alike.values() if len(each) >= MANY]


@record
class Repeats:
    """Columns that change places with the variables of a list: (variables, kinds) of them."""

    variables: Sequence[int]
    columns: Ints

    def sorted(self, logs: Floats, so_many: int, order: NDArray[np.int64]) -> Floats:
        """(rows, columns) log survivals with the columns of the first variables in order.

        ``order`` is (rows, so_many) numbers by which columns of one variable are told apart.

        >>> logs = np.array([[-1.0, 0.0], [0.0, -1.0]])
        >>> Repeats([4, 5], np.array([[0], [1]])).sorted(logs, 2, logs.astype(int)).tolist()
        [[-1.0, 0.0], [-1.0, 0.0]]
        """
        place = order.argsort(axis=1, kind="stable")
        own = logs[:, self.columns[:so_many]]
        changed = logs.copy()
        changed[:, self.columns[:so_many]] = np.take_along_axis(own, place[..., None], axis=1)
        return changed
