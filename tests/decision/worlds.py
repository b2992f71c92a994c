"""Small troubleshooting problems to try decisions on; all invented unless a source is named."""

from __future__ import annotations

import numpy as np

from diagnose.decision.problem import ANY, DecisionProblem, Repair, Test


def random_problem(
    seed: int, hypotheses: int = 4, tests: int = 3, repairs: int = 3, sure: bool = False
) -> DecisionProblem:
    """Two set-ups, noisy tests, sets of two faults, repairs that may fail."""
    rng = np.random.default_rng(seed)
    needs = np.zeros((hypotheses, repairs))
    for h in range(hypotheses):
        wanted = rng.choice(repairs, size=1 + (h >= repairs > 1), replace=False)
        needs[h, wanted] = 1.0 if sure else rng.choice([1.0, 0.9])
    return DecisionProblem(
        rng.dirichlet(np.ones(hypotheses)),
        tuple(_test(rng, t, hypotheses) for t in range(tests)),
        tuple(_repair(rng, r, needs[:, r]) for r in range(repairs)),
        np.array([[0.0, rng.uniform(0, 6)], [rng.uniform(0, 6), 0.0]]),
        float(rng.uniform(40, 120)),
    )


def _test(rng: np.random.Generator, number: int, hypotheses: int) -> Test:
    outcomes = int(rng.integers(2, 4))
    likelihood = rng.dirichlet(np.full(outcomes, 0.3), hypotheses)
    return Test(f"t{number}", float(rng.uniform(1, 8)), _setup(rng), likelihood)


def _repair(rng: np.random.Generator, number: int, fixes: np.ndarray) -> Repair:
    minutes, proof = rng.uniform(3, 40), rng.uniform(1, 6)
    return Repair(f"r{number}", float(minutes), _setup(rng), fixes, float(proof), _setup(rng))


def _setup(rng: np.random.Generator) -> int:
    return int(rng.choice([ANY, 0, 1]))


def large_problem(seed: int, several: int = 0, proofs: int = 2) -> DecisionProblem:
    """80 hypotheses, 80 tests of 8 outcomes, 60 repairs, 4 set-ups; ``several`` sets of faults."""
    rng = np.random.default_rng(seed)
    needs = np.zeros((80, 60))
    needs[np.arange(80), np.arange(80) % 60] = rng.uniform(0.8, 1.0, 80)
    for h in range(several):
        needs[h, rng.choice(60, 2, replace=False)] = 1.0
    tests = tuple(
        Test(
            f"t{t}",
            float(rng.uniform(1, 15)),
            int(rng.integers(-1, 4)),
            rng.dirichlet(np.full(8, 0.2), 80),
        )
        for t in range(80)
    )
    repairs = tuple(
        Repair(
            f"r{r}",
            float(rng.uniform(5, 90)),
            int(rng.integers(-1, 4)),
            needs[:, r],
            float(rng.uniform(2, 10)),
            int(rng.integers(0, proofs)),
        )
        for r in range(60)
    )
    change = rng.uniform(1, 10, (4, 4)) * (1 - np.eye(4))
    return DecisionProblem(rng.dirichlet(np.full(80, 0.5)), tests, repairs, change, 400.0)
