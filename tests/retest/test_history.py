"""Questions about the machine's past."""

from __future__ import annotations

import pytest

from diagnose.cases.case import Case
from diagnose.reasoning.conclude import conclude_case
from diagnose.retest.choose import exactly, next_tests
from diagnose.retest.history import priors_if
from tests.ranking.situations import ranked

ENDS = ["oil=54C", "engine=on", "bleed=FPPPPPPPPPPF", "response=PPPPPPPPPPPP"]


def test_answers_tried_together_say_what_they_say_alone() -> None:
    evidence = ranked("mounted-12", *ENDS).evidence
    model = evidence.model
    for circumstance in model.knowledge.of_scope("case").values():
        for state in circumstance.states:
            case = Case("mounted-12", history={circumstance.id: state.id})
            alone = conclude_case(model.machine, case, model.knowledge)
            moved = sorted(str(f.values) for f in alone if f.kind == "prior")
            asked = sorted(str(f.values) for f in priors_if(evidence, circumstance.id, state.id))
            assert asked == moved, (circumstance.id, state.id)


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
