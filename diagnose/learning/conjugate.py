"""Beliefs about rates and shares that keep their form as counts come in. Knows nothing of planters.

Gamma for rates of Poisson counts, Beta for chances of binomial counts, Dirichlet for shares of
multinomial counts (A. Gelman et al., Bayesian Data Analysis, 3rd ed., sections 2.4 to 2.7, 3.4;
C. Atwood et al. 2003, NUREG/CR-6823, chapter 6). How surprising counts are to a belief is told by
the tail of its prior predictive (G. Box 1980; M. Evans & H. Moshonov 2006).

The incomplete gamma and beta functions, and how a distribution is turned round.

Series and continued fractions as in M. Abramowitz & I. Stegun (1964), Handbook of Mathematical
Functions, 6.5.29, 6.5.31 and 26.5.8; the fractions are run by Lentz's method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence

from diagnose.record import record

LEVEL = 0.9
"""The chance that an interval holds, unless another is asked for."""


@record
class Gamma:
    """A belief about a rate: as if ``shape`` events had been seen in ``exposure``.

    >>> Gamma(20, 430_000).seen(2, 10_000).mean  # Gelman et al., section 2.7
    5e-05
    """

    shape: float
    exposure: float

    def seen(self, count: float, exposure: float) -> Gamma:
        """The belief after a count of events in more exposure.

        >>> Gamma(1, 100).seen(2, 50)
        Gamma(shape=3, exposure=150)
        """
        return Gamma(self.shape + count, self.exposure + exposure)

    @property
    def mean(self) -> float:
        """The expected rate.

        >>> Gamma(2, 10).mean
        0.2
        """
        return self.shape / self.exposure

    @property
    def sd(self) -> float:
        """The standard deviation of the rate.

        >>> Gamma(4, 8).sd  # √4 / 8
        0.25
        """
        return math.sqrt(self.shape) / self.exposure

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """The middle interval that holds the rate with this chance.

        >>> [round(end, 4) for end in Gamma(1, 1).interval()]  # −ln 0.95 and −ln 0.05
        [0.0513, 2.9957]
        """
        high = self.mean + 10 * self.sd
        low_tail = (1 - level) / 2

        def below(rate: float) -> float:
            return gamma_below(self.shape, self.exposure * rate)

        return turned_round(below, low_tail, high), turned_round(below, 1 - low_tail, high)

    def log_predictive(self, count: int, exposure: float) -> float:
        """The log chance to see a count in some exposure: negative binomial.

        >>> round(math.exp(Gamma(1, 1).log_predictive(2, 1)), 9)  # geometric: ½ · ½ · ½
        0.125
        """
        known = self.shape * math.log(self.exposure / (self.exposure + exposure))
        new = count * math.log(exposure / (self.exposure + exposure)) if count else 0.0
        ways = math.lgamma(self.shape + count) - math.lgamma(self.shape) - math.lgamma(count + 1)
        return ways + known + new

    def at_most(self, count: int, exposure: float) -> float:
        """The predictive chance of so many events or fewer.

        >>> round(Gamma(20, 430_000).at_most(0, 10_000), 4)
        0.6314
        """
        return beta_below(self.shape, count + 1, self.exposure / (self.exposure + exposure))

    def at_least(self, count: int, exposure: float) -> float:
        """The predictive chance of so many events or more.

        >>> round(Gamma(1, 1).at_least(2, 1), 9)  # geometric: ½ · ½
        0.25
        """
        if count == 0:
            return 1.0
        return beta_below(count, self.shape, exposure / (self.exposure + exposure))

    def tail(self, count: int, exposure: float) -> float:
        """The predictive chance of what is at least as far out on its side; 1 without exposure.

        >>> round(Gamma(1, 1).tail(2, 1), 9), round(Gamma(1, 1).tail(0, 1), 9)  # 2 or more; 0
        (0.25, 0.5)
        """
        if not exposure:
            return 1.0
        return min(self.at_most(count, exposure), self.at_least(count, exposure))


@record
class Beta:
    """A belief about a chance: as if ``hits`` and ``misses`` had been seen.

    >>> Beta(4.2, 153.1).seen(1, 8)  # a pump that failed once in 8 starts, NUREG/CR-6823
    Beta(hits=5.2, misses=160.1)
    """

    hits: float
    misses: float

    def seen(self, count: float, trials: float) -> Beta:
        """The belief after a count of hits in more trials.

        >>> Beta(1, 1).seen(1, 3)
        Beta(hits=2, misses=3)
        """
        return Beta(self.hits + count, self.misses + trials - count)

    @property
    def mean(self) -> float:
        """The expected chance.

        >>> Beta(2, 3).mean
        0.4
        """
        return self.hits / (self.hits + self.misses)

    @property
    def sd(self) -> float:
        """The standard deviation of the chance.

        >>> Beta(1.5, 1.5).sd  # √(½ · ½ / 4)
        0.25
        """
        return math.sqrt(self.mean * (1 - self.mean) / (self.hits + self.misses + 1))

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """The middle interval that holds the chance with this chance.

        >>> [round(end, 9) for end in Beta(1, 1).interval()]  # every chance is as likely
        [0.05, 0.95]
        """
        low_tail = (1 - level) / 2

        def below(chance: float) -> float:
            return beta_below(self.hits, self.misses, chance)

        return turned_round(below, low_tail, 1.0), turned_round(below, 1 - low_tail, 1.0)

    def log_predictive(self, count: int, trials: int) -> float:
        """The log chance to see a count of hits in some trials: beta-binomial.

        >>> round(math.exp(Beta(1, 1).log_predictive(2, 3)), 9)  # 0, 1, 2 and 3 are as likely
        0.25
        """
        ways = _log_beta(count + 1, trials - count + 1) + math.log(trials + 1)
        after = self.seen(count, trials)
        return _log_beta(after.hits, after.misses) - _log_beta(self.hits, self.misses) - ways

    def tail(self, count: int, trials: int) -> float:
        """The predictive chance of what is at least as far out on its side.

        >>> round(Beta(1, 1).tail(1, 3), 9)  # 0 or 1, of four that are as likely
        0.5
        """
        chances = [math.exp(self.log_predictive(each, trials)) for each in range(trials + 1)]
        return min(1.0, math.fsum(chances[: count + 1]), math.fsum(chances[count:]))


@record
class Dirichlet:
    """A belief about shares: as if each sort had been seen so often.

    >>> Dirichlet((2, 1, 1, 1)).seen((7, 2, 0, 1)).means[0]
    0.6
    """

    counts: tuple[float, ...]

    def seen(self, counts: Sequence[float]) -> Dirichlet:
        """The belief after more of each sort.

        >>> Dirichlet((1, 1, 1)).seen((2, 0, 1)).counts
        (3, 1, 2)
        """
        return Dirichlet(tuple(a + n for a, n in zip(self.counts, counts, strict=True)))

    @property
    def means(self) -> tuple[float, ...]:
        """The expected shares.

        >>> Dirichlet((1, 3)).means
        (0.25, 0.75)
        """
        total = sum(self.counts)
        return tuple(a / total for a in self.counts)

    def share(self, sort: int) -> Beta:
        """The belief about one share alone.

        >>> Dirichlet((2, 1, 4)).share(0)
        Beta(hits=2, misses=5)
        """
        return Beta(self.counts[sort], sum(self.counts) - self.counts[sort])

    def difference(self, one: int, other: int) -> tuple[float, float]:
        """Mean and standard deviation of one share less another.

        >>> Dirichlet((1.5, 1.5)).difference(0, 1)  # 2 p − 1, and p has a deviation of 0.25
        (0.0, 0.5)
        """
        p, q = self.means[one], self.means[other]
        variance = (p + q - (p - q) ** 2) / (sum(self.counts) + 1)
        return p - q, math.sqrt(variance)

    def larger(self, one: int, other: int) -> float:
        """The chance that one share is larger than another.

        >>> round(Dirichlet((2, 1)).larger(0, 1), 9)  # density 2 p: 1 − ½ · ½
        0.75
        """
        return beta_below(self.counts[other], self.counts[one], 0.5)

    def log_sequence(self, counts: Sequence[int]) -> float:
        """The log chance of one order in which these counts came: Dirichlet-multinomial.

        >>> round(math.exp(Dirichlet((1, 1)).log_sequence((2, 0))), 9)  # 1/2, then 2/3
        0.333333333
        """
        grown = zip(self.counts, counts, strict=True)
        each = math.fsum(math.lgamma(a + n) - math.lgamma(a) for a, n in grown)
        total = sum(self.counts)
        return math.lgamma(total) - math.lgamma(total + sum(counts)) + each


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)


_EXACT = 1e-15
TINY = 1e-300
MOST_STEPS = 100_000
MOST_HALVINGS = 200


def gamma_below(shape: float, x: float) -> float:
    """P(X ≤ x) for a gamma variable of this shape and unit scale.

    >>> abs(gamma_below(1.0, 2.0) - (1 - math.exp(-2))) < 1e-14
    True
    """
    if x <= 0:
        return 0.0
    front = math.exp(shape * math.log(x) - x - math.lgamma(shape))
    if x < shape + 1:
        return front * _gamma_series(shape, x)
    return 1 - front / _lentz(x + 1 - shape, _gamma_steps(shape, x))


def _gamma_series(shape: float, x: float) -> float:
    term = total = 1 / shape
    for step in range(1, MOST_STEPS):
        term *= x / (shape + step)
        total += term
        if term < total * _EXACT:
            break
    return total


def _gamma_steps(shape: float, x: float) -> Iterator[tuple[float, float]]:
    for n in range(1, MOST_STEPS):
        yield n * (shape - n), x + 2 * n + 1 - shape


def beta_below(a: float, b: float, x: float) -> float:
    """P(X ≤ x) for a Beta(a, b) variable.

    >>> abs(beta_below(2.0, 1.0, 0.5) - 0.25) < 1e-14
    True
    """
    if x <= 0 or x >= 1:
        return float(x >= 1)
    if x > (a + 1) / (a + b + 2):
        return 1 - beta_below(b, a, 1 - x)
    log_beta = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    front = math.exp(a * math.log(x) + b * math.log1p(-x) - log_beta) / a
    return front / _lentz(1.0, _beta_steps(a, b, x))


def _beta_steps(a: float, b: float, x: float) -> Iterator[tuple[float, float]]:
    for m in range(MOST_STEPS):
        yield -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)), 1.0
        n = m + 1
        yield n * (b - n) * x / ((a + 2 * n - 1) * (a + 2 * n)), 1.0


def _lentz(first: float, steps: Iterable[tuple[float, float]]) -> float:
    """The continued fraction first + p1 / (q1 + p2 / (q2 + ...)) of pairs (p, q)."""
    value = upper = first or TINY
    lower = 0.0
    for p, q in steps:
        lower = 1 / ((q + p * lower) or TINY)
        upper = (q + p / upper) or TINY
        value *= upper * lower
        if abs(upper * lower - 1) < _EXACT:
            break
    return value


def turned_round(below: Callable[[float], float], chance: float, high: float) -> float:
    """The x from 0 to ``high`` or more at which a distribution function reaches a chance.

    >>> round(turned_round(lambda x: min(x * x, 1.0), 0.25, 1.0), 12)
    0.5
    """
    low = 0.0
    while below(high) < chance:
        low, high = high, 2 * high
    for _ in range(MOST_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if below(middle) < chance else (low, middle)
        if high - low <= 1e-12 * high:
            break
    return (low + high) / 2
