"""What proves a machine good, and what does not."""

from __future__ import annotations

import pytest

from diagnose.retest.proof import Proof
from tests.ranking.situations import BLEED, RESPONSE, STEADY, ranked

EVERY = (1, 2, 3, 4, 5, 6)
BLED, RESPONDED = ("bleed=PPPPPP", *BLEED), ("response=PPPPPP", *RESPONSE)


def proof(*story: str) -> Proof:
    return Proof(ranked("mounted-6", *STEADY, *story))


def test_every_row_passing_every_check_under_good_circumstances_proves() -> None:
    found = proof(*BLED, *RESPONDED)
    assert (found.holds, found.missing, list(found.next())) == (True, (), [])
    assert found.says.startswith("proven good: every row passed bleed and response")


def test_the_rows_of_a_check_may_pass_in_several_runs() -> None:
    assert proof("bleed=PPP...", *BLEED, "bleed=...PPP", *BLEED, *RESPONDED).holds


@pytest.mark.parametrize(
    ("story", "missing"),
    [
        ((), (("bleed", EVERY), ("response", EVERY))),
        (BLED, (("response", EVERY),)),
        (RESPONDED, (("bleed", EVERY),)),
        ((*BLED, "response=PPP.PP", *RESPONSE), (("response", (4,)),)),
        ((*BLED, "response=PPPP?P", *RESPONSE), (("response", (5,)),)),
    ],
)
def test_what_did_not_pass_is_missing(
    story: tuple[str, ...], missing: tuple[tuple[str, tuple[int, ...]], ...]
) -> None:
    found = proof(*story)
    assert (found.holds, found.missing) == (False, missing)
    assert [(act.check, act.rows) for act in found.next()] == list(missing)


def test_after_work_everything_is_missing_again() -> None:
    found = proof(*BLED, *RESPONDED, "replace-coil@row-6=done")
    assert found.missing == (("bleed", EVERY), ("response", EVERY))
    assert "since the last work" in found.says


def test_after_work_only_new_passes_count() -> None:
    found = proof(*BLED, *RESPONDED, "replace-coil@row-6=done", "response=.....P", *RESPONSE)
    assert found.missing == (("bleed", EVERY), ("response", (1, 2, 3, 4, 5)))


@pytest.mark.parametrize("bad", ["engine=off", "oil=15C", "moving=yes", "bleed-hose=fitted"])
def test_a_run_known_to_be_bad_does_not_prove(bad: str) -> None:
    name = bad.partition("=")[0]
    good = [each for each in (*STEADY, *RESPONSE) if not each.startswith(name)]
    found = Proof(ranked("mounted-6", *STEADY, *BLED, "response=PPPPPP", *good, bad))
    assert (found.holds, found.missing) == (False, (("response", EVERY),))


def test_a_row_that_failed_last_is_not_proven() -> None:
    found = proof(*BLED, "response=PPPPPF", *RESPONSE)
    assert (found.holds, found.says) == (False, "not proven: row 6 failed last")


def test_a_likely_cause_that_is_left_prevents_proof() -> None:
    found = proof(*BLED, "response=PPPPPF", *RESPONSE, *RESPONDED)
    assert found.missing == ()
    assert found.leading is not None
    assert (found.leading.id, found.holds) == ("row-6/valve:leaking", False)
    assert "row 6, row valve: leaking is still" in found.says
    acts = list(found.next())
    assert acts
    assert all(act.rows == (6,) for act in acts)


def test_a_circumstance_of_a_past_run_is_nothing_that_is_left() -> None:
    found = proof(*BLED, "response=PPPPPF", *RESPONSE, *RESPONDED, *RESPONDED)
    assert found.ranking.causes[0].group == "circumstances"
    assert found.leading is not None
    assert found.leading.group == "row"


def test_the_bound_for_what_is_left_may_be_moved() -> None:
    strict = Proof(proof(*BLED, *RESPONDED).ranking, below=1e-6)
    assert (strict.holds, strict.missing) == (False, ())


def test_proving_after_a_bleed_stows_the_hose_first() -> None:
    (act,) = proof(*BLED).next()
    assert "stow it" in act.says
    assert any("engine off" in caution for caution in act.cautions)
