"""What is tried again and again: the same answer as by brute force, at a small part of its size."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.inference import Finding, Variable, posterior
from diagnose.inference.decomposition import decompose
from diagnose.inference.explanation import ExplanationPosterior
from diagnose.inference.network import PRESENT
from diagnose.inference.solver import Solver
from tests.inference.oracle import World

PARTS = (Variable("pump", (0.9, 0.1)), Variable("valve-1", (0.8, 0.15, 0.05)))
TRY = (0.7, 0.2, 0.1)
SPOILS = (1.0, 0.4, 0.1)


def tries(rows: int, *outcomes: str, prior: tuple[float, ...] = TRY) -> World:
    """Runs over some rows, each with circumstances of its own: F fails, P passes, . not run."""
    runs = [Variable(f"run-{run}", prior) for run in range(len(outcomes))]
    valves = [Variable(f"valve-{row}", (0.8, 0.15, 0.05)) for row in range(1, rows + 1)]
    findings = [
        Finding(
            f"{row}#{run}",
            {"pump": (1.0, 0.3), f"valve-{row}": (1.0, 0.5, 0.2), f"run-{run}": SPOILS},
            0.01,
            letter == "F",
            site=row,
            occasion=run,
        )
        for run, letters in enumerate(outcomes)
        for row, letter in enumerate(letters, 1)
        if letter != "."
    ]
    return World((PARTS[0], *valves, *runs), tuple(findings))


WORLDS = {
    "one row again and again": tries(1, *"FFFF"),
    "one row, with a pass between": tries(1, *"FFPFF"),
    "one row beside one that passed": tries(2, "FP", "FP", "FP", "F.", "F."),
    "every row again and again": tries(2, "FF", "FF", "FF", "FF"),
    "every row, and one of them oftener": tries(2, "FF", "FF", "FF", "F.", "F."),
    "two rows of three": tries(3, "FFP", "FFP", "FFP"),
    "runs that differ": tries(2, "FF", "FP", "PF", "FF"),
}


@pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)
def test_every_marginal_is_that_of_brute_force(world: World) -> None:
    found = posterior(world.network)
    assert found.flat == pytest.approx(world.marginals(), abs=1e-8)
    assert np.exp(found.log_evidence) == pytest.approx(world.weight().sum(), rel=1e-8)


@pytest.mark.parametrize("run", [0, 2])
@pytest.mark.parametrize("world", ["one row again and again", "every row again and again"])
def test_blame_for_one_of_many_tries_is_that_of_brute_force(world: str, run: int) -> None:
    """Also on the circumstances of the very try that is asked about."""
    told = WORLDS[world]
    again = Finding("again", {"pump": (1.0, 0.3), "valve-1": (1.0, 0.5, 0.2)}, 0.01, None, site=1)
    wide = World(told.variables, (*told.findings, again))
    found = ExplanationPosterior(wide.network, f"1#{run}")
    joint = found.joint({"again": True})
    causes = [*(one.cause for one in found.explanations), "several"]
    known = wide.blamed(f"1#{run}", {"again": True}, 1.0)
    expected = [known.get(cause, 0.0) for cause in causes]
    assert joint == pytest.approx(expected, abs=1e-4)


def test_tries_of_one_row_do_not_multiply() -> None:
    plan = decompose(tries(1, *("F" * 40)).network)
    assert plan is not None
    assert sum(family.polynomial.size for family in plan.families) <= 2 * 40


def test_tries_of_every_row_count_as_sets() -> None:
    """Of three states, n tries have (n + 1)(n + 2) / 2 sets, not 3 ** n joint states."""
    plan = decompose(tries(2, *(["FF"] * 12)).network)
    assert plan is not None
    assert len(Solver(plan, 0.0).cutset.weight) <= 13 * 14 / 2 * 2


@pytest.mark.parametrize("batches", ["by row", "by run", "one by one"])
@pytest.mark.parametrize("world", WORLDS.values(), ids=WORLDS)
def test_in_which_batches_findings_are_visited_never_matters(world: World, batches: str) -> None:
    network = world.network.observed()
    live = network.outcome == PRESENT
    alone = np.arange(int(live.sum()))
    how = {"by row": network.site[live], "by run": network.occasion[live], "one by one": alone}
    plan = decompose(network, batches=how[batches])
    assert plan is not None
    assert Solver(plan).solve().marginals() == pytest.approx(world.marginals(), abs=1e-8)
