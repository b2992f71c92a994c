"""Published noisy-OR tables and a second published route to the same answers."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from diagnose.inference import posterior
from diagnose.inference.network import Finding
from diagnose.inference.posterior import conflict, log_evidence
from tests.inference.oracle import World
from tests.inference.worlds import INHIBITION, LEAKS, PRIORS, fever, two_layers

# Russell and Norvig, Artificial Intelligence: A Modern Approach, the noisy-OR table of fever;
# the leaky column from the same inhibitions by P = 1 - (1 - leak) (1 - table) with leak 0.05.
FEVER = [
    ((0, 0, 0), 0.0, 0.05),
    ((0, 0, 1), 0.9, 0.905),
    ((0, 1, 0), 0.8, 0.81),
    ((0, 1, 1), 0.98, 0.981),
    ((1, 0, 0), 0.4, 0.43),
    ((1, 0, 1), 0.94, 0.943),
    ((1, 1, 0), 0.88, 0.886),
    ((1, 1, 1), 0.988, 0.9886),
]

# Invented network; answers by exact enumeration, one of them also by lazy propagation.
TWO_LAYERS = [
    ("12", "3", 0.0104703422, (0.19836573, 0.90686033, 0.00893703)),
    ("1", "", 0.1028620000, (0.78257277, 0.17617779, 0.02)),
    ("123", "", 0.0035047201, (0.89435458, 0.46294468, 0.40595884)),
    ("", "123", 0.8304140073, (0.01098901, 0.01452282, 0.00061187)),
    ("2", "1", 0.0487333377, (0.02173913, 0.40130168, 0.26224459)),
]


@pytest.mark.parametrize(("causes", "plain", "leaky"), FEVER)
@pytest.mark.parametrize("leak", [0.0, 0.05])
def test_fever_is_as_likely_as_the_table_says(
    causes: tuple[int, ...], plain: float, leaky: float, leak: float
) -> None:
    known = {name: [s] for name, s in zip(("cold", "flu", "malaria"), causes, strict=True)}
    found = np.exp(log_evidence(fever(leak).network.restricted(known))) * 8
    assert found == pytest.approx(leaky if leak else plain, abs=1e-12)


@pytest.mark.parametrize(("positive", "negative", "evidence", "diseases"), TWO_LAYERS)
def test_two_layers_agree_with_the_worked_table(
    positive: str, negative: str, evidence: float, diseases: tuple[float, ...]
) -> None:
    found = posterior(two_layers(positive, negative).network)
    assert np.exp(found.log_evidence) == pytest.approx(evidence, abs=1e-10)
    assert found.flat[1::2] == pytest.approx(diseases, abs=1e-8)


def quickscore(positive: str, negative: str, disease: int | None = None) -> float:
    """Heckerman (1989), A tractable inference algorithm for diagnosing multiple diseases."""
    total = 0.0
    for size in range(len(positive) + 1):
        for some in combinations(positive, size):
            absent = [int(f) - 1 for f in (*some, *negative)]
            term = np.prod([1 - LEAKS[f] for f in absent])
            for d, prior in enumerate(PRIORS):
                present = prior * np.prod([INHIBITION[f][d] for f in absent])
                term *= present if d == disease else 1 - prior + present
            total += (-1) ** size * float(term)
    return total


@pytest.mark.parametrize(("positive", "negative"), [row[:2] for row in TWO_LAYERS])
def test_quickscore_reaches_the_same_posterior(positive: str, negative: str) -> None:
    found = posterior(two_layers(positive, negative).network)
    evidence = quickscore(positive, negative)
    assert np.exp(found.log_evidence) == pytest.approx(evidence, rel=1e-12)
    for d in range(3):
        expected = quickscore(positive, negative, d) / evidence
        assert found.marginal(f"d{d + 1}")[1] == pytest.approx(expected, abs=1e-12)


def test_a_conflict_names_only_what_cannot_stand_together() -> None:
    sure = {"flu": (1.0, 0.0)}
    mild = [Finding(f"mild-{n}", {"cold": (1.0, 0.6)}, 0.01, n % 2 == 0) for n in range(4)]
    clash = [Finding("shiver", sure, 0.0, True), Finding("sweat", sure, 0.0, False)]
    world = World(fever().variables, (*mild[:2], clash[0], *mild[2:], clash[1]))
    assert conflict(world.network) == ("shiver", "sweat")


def test_a_fever_without_any_cause_cannot_be() -> None:
    healthy = fever().network.restricted({name: [0] for name in ("cold", "flu", "malaria")})
    assert conflict(healthy) == ("fever",)
