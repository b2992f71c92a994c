"""The incomplete gamma and beta functions, and how a distribution is turned round.

Series and continued fractions as in M. Abramowitz & I. Stegun (1964), Handbook of Mathematical
Functions, 6.5.29, 6.5.31 and 26.5.8; the fractions are run by Lentz's method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator

EXACT = 1e-15
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
        if term < total * EXACT:
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
        if abs(upper * lower - 1) < EXACT:
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
