"""How much each test tells, and how much per minute (Shannon 1948)."""

from __future__ import annotations

import numpy as np

from diagnose.decision.problem import Floats, Problem
from diagnose.decision.situation import Situations, product, start


def entropy(probability: Floats) -> Floats:
    """Bits of the distributions along the last axis; they need not be normalised.

    >>> float(entropy(np.array([0.5, 0.25, 0.25])))
    1.5
    """
    whole = probability.sum(axis=-1)
    safe = np.where(whole > 0, whole, 1.0)
    plogp = (probability * np.log2(np.where(probability > 0, probability, 1.0))).sum(axis=-1)
    bits: Floats = np.maximum(np.log2(safe) - plogp / safe, 0.0)
    return bits


def information(problem: Problem, beliefs: Floats) -> Floats:
    """(B, T) bits that each test is expected to tell about the hypotheses; beliefs (B, H).

    The mutual information H(outcome) − H(outcome | hypothesis), which needs no posterior.
    """
    tests, outcomes, count = problem.likelihood.shape
    flat = problem.likelihood.reshape(tests * outcomes, count)
    weight = beliefs / np.maximum(beliefs.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    chance = product(weight, flat.T).reshape(len(beliefs), tests, outcomes)
    noise = product(weight, problem.noise.T)
    bits: Floats = np.maximum(entropy(chance) - noise, 0.0)
    return bits


def information_gain(problem: Problem, belief: Floats) -> Floats:
    """(T) bits that each test is expected to tell, for one belief (H)."""
    gain: Floats = information(problem, belief[None])[0]
    return gain


def bits_per_minute(problem: Problem, belief: Floats, setup: int) -> Floats:
    """(T) bits per minute, the change of set-up included."""
    rate: Floats = rates(problem, start(problem, belief, setup))[0]
    return rate


def rates(problem: Problem, situations: Situations) -> Floats:
    """(B, T) bits per minute in any situations; 0 for tests that were done."""
    minutes = np.maximum(problem.test_minutes[situations.setup], 1e-9)
    bits = information(problem, situations.belief)
    bits[bits < 1e-12] = 0.0
    rate: Floats = bits * situations.tests / minutes
    return rate
