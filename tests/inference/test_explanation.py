"""What open findings would tell, against brute force over all joint states."""

from __future__ import annotations

from itertools import product

import pytest

from diagnose.inference.explanation import GOOD_TO, ExplanationPosterior
from diagnose.inference.network import Finding
from tests.inference.oracle import World
from tests.inference.worlds import random_world


def asking(seed: int) -> World:
    """A random world, a present target, three open findings (two of them at one site)."""
    world = random_world(seed, 5, 5)
    lets = {v.name: (1.0, 0.2, 0.6)[: len(v.prior)] for v in world.variables[:3]}
    target = Finding("target", lets, 0.01, True, 0)
    survival = {v.name: (1.0, 0.4, 0.1)[: len(v.prior)] for v in world.variables[1:4]}
    asked = [Finding(name, survival, 0.02, None, site) for name, site in ASKED.items()]
    possible = [f for f in world.findings if f.leak > 0 or not f.present]
    return World(world.variables, (*possible, target, *asked))


ASKED = {"one": 0, "two": 0, "three": 1}
SEEDS = [seed for seed in range(30) if asking(seed).weight().sum() > 1e-4]
EVENTS = [
    dict(zip(names, present, strict=True))
    for names in (("one",), ("one", "two"), ("three", "one"), ("one", "two", "three"))
    for present in product((True, False), repeat=len(names))
]


@pytest.fixture(params=["nothing left out", "as shipped"])
def good_to(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> float:
    """What joint probabilities must be good to, when hardly anything or the usual is left out."""
    if request.param == "as shipped":
        return GOOD_TO
    for name in ("explanation.UNSEEN",):
        monkeypatch.setattr(f"diagnose.inference.{name}", 1e-12)
    return 1e-6


@pytest.mark.parametrize("survival", [1.0, 0.7])
@pytest.mark.parametrize("seed", SEEDS)
def test_an_event_shares_out_over_blames_as_enumeration_says(
    seed: int, survival: float, good_to: float
) -> None:
    world = asking(seed)
    found = ExplanationPosterior(world.network, "target")
    for event in EVENTS:
        expected = world.blamed("target", event, survival)
        causes = [one.cause for one in found.explanations]
        wanted = [expected.get(cause, 0.0) for cause in (*causes, "several")]
        assert found.joint(event, survival) == pytest.approx(wanted, abs=good_to)


@pytest.mark.parametrize("seed", SEEDS)
def test_blame_is_a_partition(seed: int, good_to: float) -> None:
    found = ExplanationPosterior(asking(seed).network, "target")
    assert found.posterior.sum() == pytest.approx(1.0, abs=good_to)
    assert len({one.cause for one in found.explanations}) == len(found.explanations)


def test_blame_needs_possible_evidence() -> None:
    sure = World(asking(0).variables, (Finding("target", {}, 0.0, True),))
    with pytest.raises(ValueError, match="possible evidence"):
        ExplanationPosterior(sure.network, "target")
