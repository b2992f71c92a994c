"""A case that would take too much ends in a message whose advice works, before memory runs out."""

from __future__ import annotations

import random

import pytest

from diagnose import load_machine, plan, rank, read_typed
from diagnose.diagnosis.explain import weighing
from diagnose.diagnosis.limits import without
from diagnose.errors import TooManyRuns
from diagnose.inference import budget
from diagnose.observations.case import Case
from diagnose.planner import contingent_plan as planning
from diagnose.planner.contingent_plan import PlanStep
from diagnose.reports import ranking as ranking_reports
from diagnose.reports.ranking import ranking_report
from tests.bench.bounded import limited


def mixed(runs: int) -> list[str]:
    """Runs of 48 rows, each with a pattern of its own."""
    rng = random.Random(1)
    return [f"response={''.join(rng.choices('FP', k=48))}" for _ in range(runs)]


def told(machine: str, words: list[str]) -> Case:
    """The case of some words."""
    return read_typed(load_machine(machine), words)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("machine", "words"),
    [
        ("mounted-6", ["response=FFFFFF"] * 8),
        ("mounted-12", ["response=PPPPFPPPPPPP", *["response=....F......."] * 19]),
        ("mounted-12", ["response=FPFPFPFPFPFP"] * 12),
    ],
    ids=["all rows, 8 times", "one row, 20 times", "every other row, 12 times"],
)
def test_the_same_again_and_again_is_answered(machine: str, words: list[str]) -> None:
    assert limited(machine, words).kind == "answer"


@pytest.mark.parametrize("runs", [2, 4, pytest.param(8, marks=pytest.mark.slow)])
def test_mixed_runs_of_48_rows_are_ranked_within_limits(runs: int) -> None:
    found = rank(load_machine("folding-48"), told("folding-48", mixed(runs)))
    for cause in found.causes[:20]:
        low, high = found.bounds(cause)
        assert 0 <= low <= cause.probability <= high <= 1
    assert found.posterior.exact == (runs < 8)


@pytest.mark.slow
def test_limits_are_in_the_report_with_what_would_narrow_them() -> None:
    report = ranking_report(rank(load_machine("folding-48"), told("folding-48", mixed(8))), 0)
    assert report["exact"] is False
    assert "without response runs" in str(report["sharper"])
    assert all(each["low"] < each["high"] for each in report["causes"])  # type: ignore[attr-defined]


@pytest.mark.slow
def test_the_first_act_may_still_be_too_much_and_says_which_runs_to_leave_out() -> None:
    machine, case = load_machine("folding-48"), told("folding-48", mixed(8))
    with pytest.raises(TooManyRuns, match=r"8 failing runs .* leave out response") as refused:
        _ = plan(machine, case).choice
    assert 0 < len(refused.value.runs) < 8


def test_a_branch_of_a_plan_that_would_take_too_much_is_left_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(planning, "TREE", 8e6)
    tree = plan(load_machine("mounted-6"), told("mounted-6", ["response=PPPPPF"])).tree
    assert isinstance(tree, PlanStep)
    assert sum(branch.probability for branch in tree.branches) == pytest.approx(1.0)
    assert any(getattr(branch.then, "kind", "") == "open" for branch in tree.branches)


def test_what_was_left_out_of_a_ranking_is_said(monkeypatch: pytest.MonkeyPatch) -> None:

    monkeypatch.setattr(ranking_reports, "EXTRAS", 1.0)
    ranking = rank(load_machine("mounted-6"), told("mounted-6", ["response=PPPPPF"]))
    told_of = ranking_report(ranking)
    assert told_of["left_out"] == ["the chances by place", "how close the race is"]
    assert told_of["causes"]
    assert told_of["next"]


def test_of_too_many_things_known_some_are_weighed(monkeypatch: pytest.MonkeyPatch) -> None:
    from diagnose.diagnosis import explain

    ranking = rank(load_machine("mounted-6"), told("mounted-6", ["response=PFPFPF"]))
    causes = ranking.causes[:3]
    monkeypatch.setattr(explain, "WHY", 1e3)
    assert not weighing(ranking, causes).whole


def test_a_budget_counts_for_those_around_it() -> None:
    with budget.within(100) as outer, budget.within(50) as inner:
        budget.spend(20)
    assert (outer.spent, inner.left) == (20, 30)


@pytest.mark.slow
@pytest.mark.parametrize("number", [1, 3, 12])
def test_a_random_case_ends_in_an_answer_or_a_message(number: int) -> None:
    """In a process of its own, under limits: see `tests.bench.bounded` for many more."""
    from tests.bench.bounded import generated

    assert limited(*generated(number)).kind in ("answer", "message")


@pytest.mark.slow
def test_what_is_left_when_the_named_runs_are_left_out_is_planned() -> None:
    machine, case = load_machine("folding-48"), told("folding-48", mixed(8))
    with pytest.raises(TooManyRuns) as refused:
        _ = plan(machine, case).choice
    fewer = without(case, [run for run in case.runs if run.index in refused.value.runs])
    assert plan(machine, fewer).act is not None


@pytest.mark.slow
def test_runs_made_again_since_are_left_out_of_a_plan_first() -> None:
    """The first run is the only one that some of its rows were in."""
    whole, again = mixed(1), [f"{each[:-24]}{'.' * 24}" for each in mixed(8)]
    case = told("folding-48", [*whole, *again])
    with pytest.raises(TooManyRuns) as refused:
        _ = plan(load_machine("folding-48"), case).choice
    assert refused.value.runs
    assert 1 not in refused.value.runs
