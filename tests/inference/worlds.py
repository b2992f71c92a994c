"""Small named worlds to try inference on; all invented unless a source is named."""

from __future__ import annotations

import numpy as np

from diagnose.inference.network import Finding, Variable
from tests.inference.oracle import World

SURVIVALS = (1.0, 0.9, 0.6, 0.2, 0.02, 0.0)


def random_world(seed: int, variables: int = 6, findings: int = 7) -> World:
    """Several sites, repeats, open findings, leak 0, survival 0 and states of prior 0."""
    rng = np.random.default_rng(seed)
    causes = tuple(Variable(f"v{v}", _prior(rng)) for v in range(variables))
    seen = [_finding(rng, f"f{f}", causes) for f in range(findings)]
    again = seen[0]
    seen.append(Finding("again", again.survival, again.leak, bool(rng.random() < 0.5), again.site))
    return World(causes, tuple(seen))


def _prior(rng: np.random.Generator) -> tuple[float, ...]:
    weight = rng.random(int(rng.integers(2, 4))) + 0.05
    weight[-1] *= rng.random() > 0.15
    return tuple((weight / weight.sum()).tolist())


def _finding(rng: np.random.Generator, name: str, causes: tuple[Variable, ...]) -> Finding:
    parents = [cause for cause in causes if rng.random() < 0.5]
    survival = {
        cause.name: (1.0, *rng.choice(SURVIVALS, len(cause.prior) - 1).tolist())
        for cause in parents
    }
    present = (True, True, False, False, None)[int(rng.integers(5))]
    leak = float(rng.choice([0.0, 0.01, 0.1]))
    return Finding(name, survival, leak, present, int(rng.integers(3)))


def fever(leak: float = 0.0, present: bool | None = True) -> World:
    """Russell and Norvig, Artificial Intelligence: A Modern Approach: the fever table."""
    inhibited = {"cold": 0.6, "flu": 0.2, "malaria": 0.1}
    return World(
        tuple(Variable(name, (0.5, 0.5)) for name in inhibited),
        (Finding("fever", {name: (1.0, q) for name, q in inhibited.items()}, leak, present),),
    )


PRIORS = (0.10, 0.05, 0.02)
INHIBITION = ((0.2, 0.7, 1.0), (1.0, 0.4, 0.3), (0.5, 1.0, 0.1))
LEAKS = (0.01, 0.02, 0.005)


def two_layers(positive: str, negative: str) -> World:
    """Three diseases over three findings (invented numbers); letters 1 to 3 name findings."""
    found = {**dict.fromkeys(positive, True), **dict.fromkeys(negative, False)}
    return World(
        tuple(Variable(f"d{d + 1}", (1 - p, p)) for d, p in enumerate(PRIORS)),
        tuple(
            Finding(
                f"f{f + 1}",
                {f"d{d + 1}": (1.0, q) for d, q in enumerate(row)},
                LEAKS[f],
                found.get(str(f + 1)),
            )
            for f, row in enumerate(INHIBITION)
        ),
    )
