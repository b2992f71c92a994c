"""Sections that hang together by nothing but the supply: each gets its own answer."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from diagnose.inference import posterior
from diagnose.inference.explanation import GOOD_TO, ExplanationPosterior
from diagnose.inference.network import Finding, Variable
from tests.inference.oracle import World

SUPPLY = Variable("supply", (0.9, 0.1))


def hose(name: str, mirrored: bool = False, prior: float = 0.2) -> World:
    """Two rows on one hose, the first with a worse valve; mirrored, they stand the other way."""
    rows = {"first": prior, "second": 0.05}
    valves = [Variable(f"{name}-{row}", (1 - bad, bad)) for row, bad in rows.items()]
    own = Variable(name, (0.8, 0.2))
    findings = [
        Finding(
            f"{name}-{row}-{check}",
            {"supply": (1, 0.1), name: (1, 0.3), f"{name}-{row}": (1, leaves)},
            0.01,
            True,
            f"{name}-{row}",
        )
        for row in rows
        for check, leaves in {"bleed": 0.4, "response": 0.1}.items()
    ]
    if mirrored:
        return World((*valves[::-1], own), (*findings[2:], *findings[:2]))
    return World((*valves, own), tuple(findings))


def joined(*worlds: World, asked: Sequence[Finding] = ()) -> World:
    """Some hoses on one supply."""
    variables = [variable for world in worlds for variable in world.variables]
    findings = [finding for world in worlds for finding in world.findings]
    return World((SUPPLY, *variables), (*findings, *asked))


THREE = joined(hose("left"), hose("centre"), hose("right", mirrored=True))


def test_all_sections_get_what_enumeration_says() -> None:
    found = posterior(THREE.network)
    assert found.log_evidence == pytest.approx(np.log(THREE.weight().sum()), abs=1e-12)
    np.testing.assert_allclose(found.flat, THREE.marginals(), atol=1e-9)


def test_asking_about_one_section_and_explaining_in_another_is_as_enumeration_says() -> None:
    lets = {"supply": (1.0, 0.5), "centre": (1.0, 0.2), "centre-first": (1.0, 0.1)}
    asked = Finding("again", lets, 0.02, None, "centre-first")
    world = joined(
        hose("left"), hose("centre"), hose("right"), hose("far", mirrored=True), asked=[asked]
    )
    found = ExplanationPosterior(world.network, "left-first-bleed")
    for present in (True, False):
        expected = world.blamed("left-first-bleed", {"again": present}, 1.0)
        causes = (*(one.cause for one in found.explanations), "several")
        wanted = [expected.get(cause, 0.0) for cause in causes]
        assert found.joint({"again": present}) == pytest.approx(wanted, abs=GOOD_TO)
