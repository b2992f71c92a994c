"""What is tried again and again: the same answer as by brute force, at a small part of its size."""

from __future__ import annotations

import numpy as np
import pytest
from diagnose.inference.outlook import Outlook
from diagnose.inference.plan import make_plan

from diagnose.inference import Finding, Variable, posterior
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
    outlook = Outlook(wide.network, f"1#{run}")
    joint = outlook.joint({"again": True})
    causes = [*(blame.cause for blame in outlook.blames), "several"]
    known = wide.blamed(f"1#{run}", {"again": True}, 1.0)
    expected = [known.get(cause, 0.0) for cause in causes]
    assert joint == pytest.approx(expected, abs=1e-4)


def test_tries_of_one_row_do_not_multiply() -> None:
    plan = make_plan(tries(1, *("F" * 40)).network)
    assert plan is not None
    assert plan.families[0].polynomial.size <= 2 * 40


def test_tries_of_every_row_count_as_sets() -> None:
    """Of three states, n tries have (n + 1)(n + 2) / 2 sets, not 3 ** n joint states."""
    plan = make_plan(tries(2, *(["FF"] * 12)).network, negligible=0.0)
    assert plan is not None
    assert len(plan.common.weight) <= 13 * 14 / 2 * 2
