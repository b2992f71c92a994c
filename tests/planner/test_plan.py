"""Plans: what a technician would expect of them (common practice, no source), and sound sums."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import Any, TypeVar

import pytest
from pydantic import BaseModel

from diagnose.api import rank
from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Ranking
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.observations.typed import read_typed
from diagnose.planner.candidates import Candidate, required_rerun, rerun
from diagnose.planner.contingent_plan import End, Plan, PlanStep, representative_outcome
from diagnose.planner.decide import NO_ACT
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.offers import next_tests
from diagnose.planner.problem import Means, TroubleshootingProblem
from diagnose.planner.setup_state import present
from diagnose.planner.what_if import chance
from diagnose.reports.ranking import ranking_report
from diagnose.tolerances import SETTLED
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, both_checks, failing, ranked

Model = TypeVar("Model", bound=BaseModel)
EMPTY_HANDED = Means(frozenset({"gauge", "meter"}), alone=True)

SITUATIONS = {
    "one row": lambda: both_checks("mounted-6", [], [6]),
    "a section": lambda: both_checks("mounted-12", range(7, 13), range(7, 13)),
    "everything": lambda: both_checks("mounted-12", range(1, 13), range(1, 13)),
    "two far rows": lambda: both_checks("mounted-12", [], [2, 11]),
    "nothing stated": lambda: ranked("mounted-6", "response=PPFFPP"),
    "cold oil": lambda: ranked("mounted-6", "oil=15C", "engine=on", "response=FFFFFF"),
}


@cache
def planned(situation: str, goal: Goal = "restore", depth: int = 1) -> Plan:
    return Plan(SITUATIONS[situation](), goal, depth=depth)


EVERY_PLAN = [(situation, "restore", 1) for situation in SITUATIONS] + [
    ("one row", "restore", 2),
    ("one row", "isolate", 2),
    ("a section", "restore", 2),
    ("two far rows", "isolate", 1),
]


def first_act(ranking: Ranking) -> Candidate:
    """What a plan begins with."""
    choice = Plan(ranking).choice
    assert choice is not None
    assert choice.candidate is not None
    return choice.candidate


def steps(node: PlanStep | End) -> Iterator[PlanStep]:
    if isinstance(node, PlanStep):
        yield node
        for branch in node.branches:
            yield from steps(branch.then)


def ends(node: PlanStep | End) -> Iterator[End]:
    if isinstance(node, End):
        yield node
    else:
        for branch in node.branches:
            yield from ends(branch.then)


@pytest.mark.parametrize(("situation", "goal", "depth"), EVERY_PLAN)
def test_what_may_come_of_a_step_sums_to_one(situation: str, goal: Goal, depth: int) -> None:
    found = list(steps(planned(situation, goal, depth).tree))
    assert found
    for step in found:
        total = sum(branch.probability for branch in step.branches)
        assert total == pytest.approx(1, abs=1e-6), step.candidate.id


@pytest.mark.parametrize("check", ["bleed", "response"])
def test_outcomes_too_rare_to_be_told_are_not_lost(
    check: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All rows failing at once is much rarer than what is told on its own."""
    plan = planned("one row", "restore", 2)
    assert plan.choice is not None
    every = rerun(plan.ranking.evidence, check, range(1, 7), [6])
    chosen = replace(plan.choice, candidate=every)
    monkeypatch.setattr("diagnose.planner.contingent_plan.best_choice", lambda *_, **__: chosen)
    tree = Plan(plan.ranking, depth=1).tree
    assert isinstance(tree, PlanStep)
    told = {branch.result: branch.probability for branch in tree.branches}
    assert "all fail" not in told
    rest = [told[result] for result in told if result.startswith(("anything else", "some fail"))]
    assert len(rest) == 1
    assert 0 < rest[0] < 0.05
    assert sum(told.values()) == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("situation", SITUATIONS)
def test_following_the_plan_takes_no_longer_than_repairing_in_order(situation: str) -> None:
    plan = planned(situation, "restore", 1)
    assert plan.plan_minutes > plan.final_minutes > 0
    if required_rerun(plan.ranking.evidence) is None:
        assert plan.plan_minutes <= plan.repair_only_minutes + 1e-9


def test_telling_apart_first_costs_at_most_its_first_act_more() -> None:
    isolate, restore = planned("one row", "isolate", 2), planned("one row", "restore", 2)
    assert isolate.choice is not None
    most = restore.repair_only_minutes + isolate.choice.minutes
    assert restore.plan_minutes <= isolate.plan_minutes + 1e-9
    assert isolate.plan_minutes <= most + 5, "and the changes of set-up that it may bring"


def test_telling_apart_first_takes_as_long_as_the_same_act_when_all_is_to_be_well() -> None:
    isolate, restore = planned("one row", "isolate", 2), planned("one row", "restore", 2)
    assert isolate.choice is not None
    assert isolate.choice.candidate is not None
    assert restore.choice is not None
    minutes = {each.candidate.id: each.value for each in restore.choice.offers}
    more = minutes[isolate.choice.candidate.id] - restore.choice.value
    assert isolate.plan_minutes == pytest.approx(restore.plan_minutes + more)


@pytest.mark.parametrize("situation", ["one row", "a section"])
def test_a_deeper_tree_begins_alike(situation: str) -> None:
    shallow, deep = (planned(situation, "restore", depth).tree for depth in (1, 2))
    assert isinstance(shallow, PlanStep)
    assert isinstance(deep, PlanStep)
    assert deep.candidate.id == shallow.candidate.id
    assert [(b.result, b.probability) for b in deep.branches] == [
        (b.result, b.probability) for b in shallow.branches
    ]
    assert len(list(steps(deep))) > len(list(steps(shallow))) == 1


def test_a_step_costs_its_work_and_the_change_of_set_up() -> None:
    for step in steps(planned("one row", "restore", 2).tree):
        assert step.minutes >= step.candidate.minutes


def test_progress_counts_every_step() -> None:
    told: list[int] = []
    plan = Plan(both_checks("mounted-6", [], [6]), depth=2, progress=told.append)
    assert plan.tree
    assert told == list(range(1, len(list(steps(plan.tree))) + 1))


def test_telling_apart_ends_when_one_cause_holds_the_blame() -> None:
    tree = planned("one row", "isolate", 2).tree
    isolated = [end for end in ends(tree) if end.kind == "isolated"]
    assert isolated
    for end in isolated:
        assert end.leading is not None
        assert end.leading.probability > 0.85
        assert end.says == f"told apart: {end.leading.says}"


def test_what_is_told_apart_already_needs_no_act() -> None:
    readings = ["coil-resistance@row-6=OL", "valve-code@row-6/valve=5"]
    ranking = ranked("mounted-6", *STEADY, "response=PPPPPF", *RESPONSE, *readings)
    tree = Plan(ranking, "isolate").tree
    assert isinstance(tree, End)
    assert tree.kind == "isolated"
    assert tree.leading is not None
    assert tree.leading.id == "row-6/valve:coil_open"


def test_of_several_fault_groups_each_is_named_that_was_told_apart() -> None:
    found = ["coil-resistance@row-2=OL", "valve-code@row-2/valve=5"]
    story = [*STEADY, "response=PFPPPPPPPPFP", *RESPONSE, *found]
    tree = Plan(ranked("mounted-12", *story), "isolate").tree
    isolated = [end.says for end in ends(tree) if end.kind == "isolated"]
    assert isolated
    for says in isolated:
        assert "row 2, row valve: coil open" in says
        assert "row 11, " in says


def test_a_proven_machine_needs_nothing() -> None:
    plan = Plan(both_checks("mounted-6", [], []))
    assert isinstance(plan.tree, End)
    assert (plan.tree.kind, plan.tree.acts) == ("proven", ())
    assert (plan.plan_minutes, plan.repair_only_minutes, plan.final_minutes) == (0, 0, 0)


def test_a_machine_of_which_nothing_failed_is_to_be_proven() -> None:
    tree = Plan(ranked("mounted-6", *STEADY, "response=PPPPPP", *RESPONSE)).tree
    assert isinstance(tree, End)
    assert tree.kind == "prove"
    assert [act.id for act in tree.acts] == ["bleed@1-6", "response@1-6"]


def leaking_remotes() -> Knowledge:
    """Knowledge of an invented fleet whose outlet valves often leak and are quickly resealed."""
    known = load_knowledge()
    kind = known.parts["remote"]
    modes = [replaced(m, prior=0.98) if m.id == "leaking" else m for m in kind.modes]
    quick = {"minutes": 5.0, "parts_price": "none"}
    remedies = [replaced(r, **quick) if r.id == "repair-remote" else r for r in kind.remedies]
    kind = replaced(kind, modes=tuple(modes), remedies=tuple(remedies))
    return replace(known, parts={**known.parts, "remote": kind})


def replaced(model: Model, **values: Any) -> Model:
    return model.model_copy(update=values)


def test_what_is_for_qualified_hands_only_is_handed_over_though_it_were_quickest() -> None:
    known = leaking_remotes()
    machine = load_machine("mounted-6", known)
    typed = [*STEADY, "response=FFFFFF", *RESPONSE, "response=FFPFPF", *RESPONSE]
    plan = Plan(rank(machine, read_typed(machine, typed, known), known))
    assert plan.ranking.causes[0].id == "supply/remote:leaking"
    assert isinstance(plan.tree, End)
    assert (plan.tree.kind, plan.tree.leading) == ("hand-over", plan.ranking.causes[0])
    assert "qualified" in plan.tree.says


def test_where_handing_over_costs_least_it_is_handed_over() -> None:
    known = load_knowledge()
    known = replace(known, rates=replaced(known.rates, hand_over_minutes=0.5))
    machine = load_machine("mounted-6", known)
    typed = [*STEADY, "response=PPPPPF", *RESPONSE]
    tree = Plan(rank(machine, read_typed(machine, typed, known), known)).tree
    assert isinstance(tree, End)
    assert (tree.kind, tree.says) == ("hand-over", NO_ACT)


@pytest.mark.parametrize("situation", SITUATIONS)
def test_no_step_of_a_plan_is_for_qualified_hands(situation: str) -> None:
    assert not any(s.candidate.qualified for s in steps(planned(situation, "restore", 1).tree))


@pytest.mark.parametrize("rows", ["FFFFFF", "PPPPPF"])
def test_in_cold_oil_the_rerun_in_warm_oil_comes_first(rows: str) -> None:
    act = first_act(ranked("mounted-6", "oil=15C", "engine=on", f"response={rows}"))
    assert (act.kind, act.check) == ("rerun", "response")
    assert act.says.startswith("warm the oil")
    assert act.rows == tuple(row for row in range(1, 7) if rows[row - 1] == "F")


def minutes_in_cold_oil(*story: str) -> list[float]:
    """What each rerun of a plan costs when the oil was stated to be cold."""
    ranking = ranked("mounted-6", "engine=on", "response=PPPPPF", "oil=15C", *story)
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    checks = [rerun(ranking.evidence, check, (6,), (6,)) for check in ("response", "bleed")]
    return [act.minutes + problem.change_to(act) for act in checks]


def test_cold_oil_is_warmed_once_whichever_check_comes_first() -> None:
    warming = load_knowledge().setups["warm-oil"].enter_minutes
    cold = minutes_in_cold_oil()
    warmed = minutes_in_cold_oil("response=PPPPPF", "oil=54C")
    assert [a - b for a, b in zip(cold, warmed, strict=True)] == pytest.approx([warming] * 2)


def test_bleeding_as_a_remedy_warms_the_oil_for_what_follows() -> None:
    story = ["oil=15C", "engine=on", "response=PPPPPF", "bleed-again@row-6/air=done"]
    evidence = ranked("mounted-6", *story).evidence
    assert present(evidence).lacking == frozenset()
    assert present(ranked("mounted-6", *story[:-1]).evidence).lacking == {"warm-oil"}


def test_oil_of_which_nobody_spoke_is_not_warmed() -> None:
    assert present(ranked("mounted-6", "response=PPPPPF").evidence).lacking == frozenset()


def test_warm_oil_is_charged_once_in_the_whole_look_ahead() -> None:
    """Two tests in a row that both want it cost its minutes together, not each."""
    ranking = ranked("mounted-6", "oil=15C", "engine=on", "response=PPPPPF")
    problem = TroubleshootingProblem(ranking, fault_groups(ranking)[0])
    finite, warming = problem.finite, problem.knowledge.setups["warm-oil"].enter_minutes
    again = [test.id for test in finite.tests].index("response@6")
    after = int(finite.test_setups[problem.setup, again])
    saved = finite.test_minutes[problem.setup, again] - finite.test_minutes[after, again]
    assert saved == pytest.approx(warming)
    read = [test.id for test in finite.tests].index("coil-resistance@row-6/valve")
    later = int(finite.test_setups[after, read])
    more = finite.test_minutes[later, again] - finite.test_minutes[after, again]
    assert more == pytest.approx(problem.knowledge.setups["running"].enter_minutes)


def test_telling_apart_in_cold_oil_begins_with_warming_it() -> None:
    cold = ranked("mounted-6", "oil=5C", "engine=on", "response=FFFFFF")
    problem = TroubleshootingProblem(cold, fault_groups(cold)[0])
    assert (problem.likeliest, problem.settled > SETTLED) == ("circumstances/oil@1", True)
    tree = Plan(cold, "isolate", depth=1).tree
    assert isinstance(tree, PlanStep)
    assert tree.candidate.says.startswith("warm the oil")


BACK = ("bleeding", "running")


def test_what_is_left_to_prove_costs_its_changes_of_set_up() -> None:
    tree = Plan(ranked("mounted-6", *STEADY, "response=PPPPPP", *RESPONSE)).tree
    assert isinstance(tree, End)
    known = load_knowledge()
    check = known.checks["bleed"]
    work = check.set_up_minutes + 6 * check.minutes_per_row
    again = known.checks["response"].set_up_minutes + 6 * known.checks["response"].minutes_per_row
    there, back = (known.change_minutes(*each) for each in (("running", "bleeding"), BACK))
    assert tree.minutes == pytest.approx((work + there, again + back))


@pytest.mark.slow
@pytest.mark.parametrize("situation", ["a section", "everything"])
def test_hardly_any_outcome_ends_in_ranking_again(situation: str) -> None:
    for step in steps(planned(situation, "restore", 2).tree):
        open_ends = [
            branch.probability
            for branch in step.branches
            if isinstance(branch.then, End)
            and branch.then.kind == "open"
            and branch.then.leading is None
        ]
        assert sum(open_ends) < 0.05, step.candidate.id


def test_an_example_stands_for_all_outcomes_in_which_some_rows_fail() -> None:
    """Their probability together is what neither all pass nor all fail leaves over."""
    step = next(s for s in steps(planned("a section", "restore", 2).tree) if len(s.branches) > 2)
    assert len(step.candidate.rows) > 3
    ranking = planned("a section", "restore", 2).ranking
    found = representative_outcome(ranking, step.candidate)
    assert found is not None
    outcome, after = found
    fails = set(outcome.event.values())
    assert fails == {True, False}
    assert 0 < chance(ranking, after) < 1


def is_at(row: int, act: Candidate) -> bool:
    """Whether something is done at a row: to a part of it, or by running that row alone."""
    return act.part.startswith(f"row-{row}/") or act.rows == (row,)


@pytest.mark.parametrize("row", [1, 6, 12])
def test_one_row_failing_response_leads_to_that_row(row: int) -> None:
    assert is_at(row, first_act(both_checks("mounted-12", [], [row])))


@pytest.mark.parametrize("machine", ["mounted-12", "folding-24"])
def test_a_section_failing_both_leads_to_something_of_the_section(machine: str) -> None:
    act = first_act(both_checks(machine, range(7, 13), range(7, 13)))
    assert (act.part.partition("/")[0], act.rows) == ("section-2", tuple(range(7, 13)))


@pytest.mark.parametrize("machine", ["mounted-12", "folding-24"])
def test_everything_failing_leads_to_the_lever_or_the_couplers(machine: str) -> None:
    every = range(1, load_machine(machine).rows + 1)
    offered = [p.candidate for p in next_tests(both_checks(machine, every, every))]
    act = next(each for each in offered if each.kind != "ask")
    assert act.part in ("supply/remote", "supply/coupler", "supply/return")
    assert act.kind in ("look", "remedy")


def test_a_wiring_branch_failing_response_leads_to_the_branch_or_its_rows() -> None:
    act = first_act(both_checks("mounted-12", [], range(5, 9)))
    assert set(act.rows) <= {5, 6, 7, 8}


def test_each_of_two_far_rows_gets_an_act() -> None:
    report: dict[str, Any] = ranking_report(both_checks("folding-24", [], [3, 20]))
    assert {act["blames_row"] for act in report["next"]} == {3, 20}
    assert all(act["blames_row"] in act["rows"] for act in report["next"])
    assert all(act["trouble_rows"] == [act["blames_row"]] for act in report["next"])


def test_an_act_names_every_row_of_the_fault_group_that_it_is_about() -> None:
    section = list(range(7, 13))
    report: dict[str, Any] = ranking_report(both_checks("mounted-12", section, section))
    assert report["next"]
    assert all(act["trouble_rows"] == section for act in report["next"])


def test_the_minutes_of_two_fault_groups_count_both() -> None:
    one, two = planned("one row", "restore", 2), planned("two far rows", "restore", 1)
    assert [group.rows for group in two.groups] in ([(2,), (11,)], [(11,), (2,)])
    assert two.repair_only_minutes > 1.5 * one.repair_only_minutes


def test_less_at_hand_takes_no_fewer_minutes() -> None:
    every = planned("one row", "restore", 2)
    some = Plan(every.ranking, means=EMPTY_HANDED)
    assert some.plan_minutes >= every.plan_minutes - 1e-9


def test_the_last_bleed_is_reckoned_as_often_as_work_on_oil_makes_it_due() -> None:
    """All rows were bled; a coil leaves it at that, a new valve does not."""
    plan = planned("one row", "restore", 2)
    known = plan.ranking.evidence.model.knowledge
    bleed, response = (
        known.checks[name].set_up_minutes + 6 * known.checks[name].minutes_per_row
        for name in ("bleed", "response")
    )
    both = bleed + known.change_minutes("bleeding", "running") + response
    assert response < plan.final_minutes < both


def test_the_last_pass_is_every_check_on_every_row_with_its_set_up() -> None:
    plan = Plan(ranked("mounted-6", *STEADY, failing("mounted-6", "bleed", [2]), *BLEED))
    known = plan.ranking.evidence.model.knowledge
    work = sum(check.set_up_minutes + 6 * check.minutes_per_row for check in known.checks.values())
    assert plan.final_minutes == pytest.approx(work + known.change_minutes("bleeding", "running"))
