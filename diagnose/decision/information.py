"""How much each test tells, and how much per minute (Shannon 1948)."""

from __future__ import annotations

import numpy as np

from diagnose.decision.problem import Floats, Problem
from diagnose.decision.situation import Situations, product, start


def entropy(probability: Floats) -> Floats:
    """Bits of the distributions along the last axis; they need not be normalised.

    >>> float(entropy(np.array([0.5, 0.25, 0.25]))), float(entropy(np.array([2.0, 1.0, 1.0])))
    (1.5, 1.5)
    """
    whole = probability.sum(axis=-1)
    safe = np.where(whole > 0, whole, 1.0)
    plogp = (probability * np.log2(np.where(probability > 0, probability, 1.0))).sum(axis=-1)
    bits: Floats = np.maximum(np.log2(safe) - plogp / safe, 0.0)
    return bits


def information(problem: Problem, beliefs: Floats) -> Floats:
    """(B, T) bits that each test is expected to tell about the hypotheses; beliefs (B, H).

    The mutual information H(outcome) − H(outcome | hypothesis), which needs no posterior.

    >>> from diagnose.decision.problem import ANY, Test
    >>> tests = Test("sure", 1.0, ANY, np.eye(2)), Test("blind", 1.0, ANY, np.full((2, 2), 0.5))
    >>> problem = Problem(np.array([0.5, 0.5]), tests, (), np.zeros((1, 1)), 60.0)
    >>> information(problem, np.array([[0.25, 0.25], [0.5, 0.0]])).tolist()
    [[1.0, 0.0], [0.0, 0.0]]
    """
    tests, outcomes, count = problem.likelihood.shape
    flat = problem.likelihood.reshape(tests * outcomes, count)
    weight = beliefs / np.maximum(beliefs.sum(axis=1, keepdims=True), np.finfo(float).tiny)
    chance = product(weight, flat.T).reshape(len(beliefs), tests, outcomes)
    noise = product(weight, problem.noise.T)
    bits: Floats = np.maximum(entropy(chance) - noise, 0.0)
    return bits


def information_gain(problem: Problem, belief: Floats) -> Floats:
    """(T) bits that each test is expected to tell, for one belief (H).

    The probes X, Y and Z of J. de Kleer and B. C. Williams (1987), "Diagnosing multiple faults",
    while A1, M1, A2 with M2, or M2 with M3 are at fault. Outcomes are sure, so each probe tells
    their entropy: that of 0.495 to 0.505, of 0.01 to 0.99, of 0.005 to 0.995.

    >>> from diagnose.decision.problem import ANY, Test
    >>> probes = {"X": [0, 1, 0, 0], "Y": [0, 0, 1, 1], "Z": [0, 0, 0, 1]}
    >>> tests = tuple(Test(id, 1.0, ANY, np.eye(2)[seen]) for id, seen in probes.items())
    >>> belief = np.array([0.495, 0.495, 0.005, 0.005])
    >>> problem = Problem(belief, tests, (), np.zeros((1, 1)), 60.0)
    >>> information_gain(problem, belief).round(6).tolist()
    [0.999928, 0.080793, 0.045415]
    """
    gain: Floats = information(problem, belief[None])[0]
    return gain


def bits_per_minute(problem: Problem, belief: Floats, setup: int) -> Floats:
    """(T) bits per minute, the change of set-up included.

    >>> from diagnose.decision.problem import ANY, Test
    >>> tests = Test("here", 4.0, ANY, np.eye(2)), Test("there", 5.0, 1, np.eye(2))
    >>> problem = Problem(np.array([0.5, 0.5]), tests, (), np.array([[0.0, 3.0], [3.0, 0.0]]), 60.0)
    >>> bits_per_minute(problem, problem.prior, setup=0).tolist()
    [0.25, 0.125]
    """
    rate: Floats = rates(problem, start(problem, belief, setup))[0]
    return rate


def rates(problem: Problem, situations: Situations) -> Floats:
    """(B, T) bits per minute in any situations; 0 for tests that were done.

    >>> from diagnose.decision.problem import ANY, Test
    >>> from diagnose.decision.situation import tested
    >>> vague = Test("vague", 2.0, ANY, np.array([[0.5, 0.0, 0.5], [0.0, 0.5, 0.5]]))
    >>> problem = Problem(np.array([0.5, 0.5]), (vague,), (), np.zeros((1, 1)), 60.0)
    >>> here = start(problem, problem.prior, 0)
    >>> after, _, _ = tested(problem, here, np.array([0]))
    >>> rates(problem, here).tolist(), rates(problem, after).tolist()
    ([[0.25]], [[0.0], [0.0], [0.0]])
    """
    minutes = np.maximum(problem.test_minutes[situations.setup], 1e-9)
    bits = information(problem, situations.belief)
    bits[bits < 1e-12] = 0.0
    rate: Floats = bits * situations.tests / minutes
    return rate
