"""Parts of a network that look alike are swept once, and all get the answer."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import numpy as np
import pytest
from diagnose.inference.course import Course, courses
from diagnose.inference.outlook import GOOD_TO, Outlook
from diagnose.inference.plan import Plan

from diagnose.inference import posterior
from diagnose.inference.network import Finding, Floats, Network, Variable
from diagnose.inference.solver import Solver
from diagnose.machine.graph import load_machine
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.problem import TroubleshootingProblem
from tests.inference.cases import failed_rows, network, ranking, typed
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


def solver(one: Network) -> Solver:
    found = Solver.of(one.observed())
    assert found is not None
    return found


def sizes(one: Network) -> list[int]:
    """How many twins each kind of connected part has."""
    return sorted(map(len, solver(one).twins))


THREE = joined(hose("left"), hose("centre"), hose("right", mirrored=True))


def test_alike_and_mirrored_hoses_are_twins() -> None:
    assert sizes(THREE.network) == [3]


def test_a_hose_with_another_valve_is_no_twin() -> None:
    world = joined(hose("left"), hose("centre"), hose("right", prior=0.21))
    assert sizes(world.network) == [1, 2]


@pytest.mark.parametrize(("machine", "twins"), [("folding-16", [1, 2]), ("folding-48", [2])])
def test_the_two_wings_of_a_machine_are_twins(machine: str, twins: list[int]) -> None:
    assert sizes(network(machine, "all")) == twins


def test_twins_get_what_enumeration_says() -> None:
    found = posterior(THREE.network)
    assert found.log_evidence == pytest.approx(np.log(THREE.weight().sum()), abs=1e-12)
    np.testing.assert_allclose(found.flat, THREE.marginals(), atol=1e-9)


def test_asking_about_one_twin_and_blaming_in_another_is_as_enumeration_says() -> None:
    lets = {"supply": (1.0, 0.5), "centre": (1.0, 0.2), "centre-first": (1.0, 0.1)}
    asked = Finding("again", lets, 0.02, None, "centre-first")
    world = joined(
        hose("left"), hose("centre"), hose("right"), hose("far", mirrored=True), asked=[asked]
    )
    outlook = Outlook(world.network, "left-first-bleed")
    for present in (True, False):
        expected = world.blamed("left-first-bleed", {"again": present}, 1.0)
        causes = (*(blame.cause for blame in outlook.blames), "several")
        wanted = [expected.get(cause, 0.0) for cause in causes]
        assert outlook.joint({"again": present}) == pytest.approx(wanted, abs=GOOD_TO)


def _one_by_one(plan: Plan, polynomials: Sequence[Floats]) -> list[list[Course]]:
    return [[course] for course in courses(plan, polynomials)]


@pytest.mark.parametrize("machine", ["mounted-12", "folding-16", "folding-48"])
@pytest.mark.parametrize("pattern", ["section", "scattered", "all"])
def test_a_machine_gets_the_same_answer_part_by_part(
    machine: str, pattern: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = network(machine, pattern)
    together = posterior(one)
    monkeypatch.setattr(sys.modules[Solver.__module__], "twins", _one_by_one)
    apart = posterior(one)
    assert together.log_evidence == pytest.approx(apart.log_evidence, abs=1e-8)
    np.testing.assert_allclose(together.flat, apart.flat, atol=1e-9)


def _tables(machine: str) -> list[Floats]:
    """What every test of the first trouble would tell, when all rows fail."""
    found = ranking(machine, typed(load_machine(machine).rows, failed_rows(machine, "all")))
    scene = TroubleshootingProblem(found, fault_groups(found)[0])
    return [weighed.table for _, weighed in scene.tests]


def test_tests_tell_the_same_part_by_part(monkeypatch: pytest.MonkeyPatch) -> None:
    together = _tables("folding-16")
    monkeypatch.setattr(sys.modules[Solver.__module__], "twins", _one_by_one)
    apart = _tables("folding-16")
    assert len(together) > 30
    for one, other in zip(together, apart, strict=True):
        np.testing.assert_allclose(one, other, atol=GOOD_TO)
