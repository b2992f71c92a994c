"""Questions about the machine's past, and what is likely while nobody has answered them."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product

import numpy as np
import pytest

from diagnose.api import rank
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.history import pasts
from diagnose.machine.graph import load_machine
from diagnose.observations.case import Case
from diagnose.planner.fault_groups import fault_groups
from diagnose.planner.offers import exactly, next_tests
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.question_outcomes import history_questions, history_table, with_answer
from diagnose.rules.conclude import conclude_case
from tests.diagnosis.situations import ranked

ENDS = ["oil=54C", "engine=on", "bleed=FPPPPPPPPPPF", "response=PPPPPPPPPPPP"]


def told(history: Mapping[str, str]) -> Evidence:
    """A machine of which only its past is known."""
    return rank(load_machine("mounted-12"), Case("mounted-12", history=history)).evidence


def test_pasts_tried_together_say_what_they_say_alone() -> None:
    machine = load_machine("mounted-12")
    every = pasts(told({}).model.knowledge)
    assert any(past.findings[answers] for past in every for answers in past.findings)
    for past in every:
        for answers, findings in past.findings.items():
            history = dict(zip(past.circumstances, answers, strict=True))
            alone = conclude_case(machine, Case("mounted-12", history=history))
            moved = sorted(str(f.values) for f in alone if f.kind == "prior")
            assert sorted(str(f.values) for f in findings) == moved, history


@pytest.mark.parametrize("known", [{}, {"first-hookup": "no"}, {"milky-oil": "yes"}])
def test_what_nobody_told_counts_at_its_average_over_the_answers(known: dict[str, str]) -> None:
    """By telling every combination of answers outright and adding up: a route of its own."""
    evidence = told(known)
    scope = evidence.model.knowledge.of_scope("case")
    open_ones = [each for name, each in scope.items() if name not in known]
    mean = np.zeros_like(evidence.part_prior)
    airy = [each for each in open_ones if each.id in ("first-hookup", "rehooked", "milky-oil")]
    others = {each.id: each.states[0].id for each in open_ones if each not in airy}
    for states in product(*(each.states for each in airy)):
        answers = {each.id: state.id for each, state in zip(airy, states, strict=True)}
        weight = np.prod([state.prior_for("any") for state in states])
        mean += weight * told({**known, **others, **answers}).part_prior
    assert told({**known, **others}).part_prior == pytest.approx(mean, rel=1e-12)


def test_what_may_be_answered_leaves_every_blame_as_likely_as_it_was() -> None:
    """The answers to a question, each as likely as it is, add up to what is believed before it."""
    ranking = ranked("mounted-12", *ENDS[:2], "response=FFFFFFFFFFFF")
    information = TroubleshootingProblem(ranking, fault_groups(ranking)[0]).information
    asked = list(history_questions(ranking.evidence))
    assert len(asked) > 3
    for act in asked:
        told = sum(history_table(information.beliefs, act))
        assert told == pytest.approx(information.blame), act.id


def test_air_is_likelier_when_nobody_asked_than_when_nothing_happened() -> None:
    def air(history: Mapping[str, str]) -> float:
        evidence = told(history)
        return float(evidence.part_prior[evidence.model.flat("row-6/air", "trapped")])

    no, yes = ({"first-hookup": a, "rehooked": a} for a in ("no", "yes"))
    assert air(no) * 3 < air({}) < air(yes)


def test_an_answer_supposed_is_the_answer_told() -> None:
    supposed = Ranking(with_answer(ranked("mounted-12", *ENDS).evidence, "first-hookup", "yes"))
    answered = ranked("mounted-12", "first-hookup=yes", *ENDS)
    ours = {cause.id: cause.probability for cause in supposed.causes}
    assert ours == pytest.approx({cause.id: cause.probability for cause in answered.causes})


def test_the_first_hook_up_is_asked_about_when_ends_fail_the_bleed() -> None:
    ranking = ranked("mounted-12", *ENDS)
    asked = {p.candidate.id: p for p in next_tests(ranking) if p.candidate.kind == "ask"}
    assert "ask:first-hookup" in asked
    assert "ask:rehooked" in asked
    shown = exactly(ranking, asked["ask:first-hookup"]).prospects
    assert sum(prospect.probability for prospect in shown) == pytest.approx(1)
    first = {prospect.result: prospect.probability for prospect in shown}
    assert first["first hook-up this season"] > 0.4  # its prior is 0.3; ends that fail raise it


def test_what_was_told_is_not_asked() -> None:
    ranking = ranked("mounted-12", *ENDS, "first-hookup=yes")
    assert not any(p.candidate.id == "ask:first-hookup" for p in next_tests(ranking))
