"""What proves a machine good, and what does not."""

from __future__ import annotations

import pytest

from diagnose.planner.contingent_plan import Plan
from diagnose.planner.problem import Means
from diagnose.planner.verification import Proof
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

EVERY = (1, 2, 3, 4, 5, 6)
BLED, RESPONDED = ("bleed=PPPPPP", *BLEED), ("response=PPPPPP", *RESPONSE)
FAILED = (*BLED, "response=PPPPPF", *RESPONSE)
BOTH = (("bleed", EVERY), ("response", EVERY))
JUST_RESPONSE = (("response", EVERY),)


def proof(*story: str) -> Proof:
    return Proof(ranked("mounted-6", *STEADY, *story))


def test_every_row_passing_every_check_under_good_circumstances_proves() -> None:
    found = proof(*BLED, *RESPONDED)
    assert (found.holds, found.missing, list(found.next())) == (True, (), [])
    assert found.says.startswith("proven good: all rows passed bleed (run 1) and response (run 2)")
    assert found.says.endswith("no part that could explain a failure is at 5 % or more")


@pytest.mark.parametrize(
    ("story", "missing"),
    [
        ((), BOTH),
        (BLED, JUST_RESPONSE),
        (RESPONDED, BOTH),
        ((*RESPONDED, *BLED), JUST_RESPONSE),
        ((*BLED, "response=PPP.PP", *RESPONSE), JUST_RESPONSE),
        ((*BLED, "response=PPPP?P", *RESPONSE), JUST_RESPONSE),
        ((*BLED, "response=PPP...", *RESPONSE, "response=...PPP", *RESPONSE), JUST_RESPONSE),
        (("bleed=PPP...", *BLEED, "bleed=...PPP", *BLEED, *RESPONDED), BOTH),
    ],
)
def test_a_full_run_of_each_check_is_due_and_the_bleed_comes_first(
    story: tuple[str, ...], missing: tuple[tuple[str, tuple[int, ...]], ...]
) -> None:
    found = proof(*story)
    assert (found.holds, found.missing) == (False, missing)
    assert [(act.check, act.rows) for act in found.next()] == list(missing)


@pytest.mark.parametrize(
    "bad", ["oil=5C", "oil=35C", "engine=off", "moving=yes", "supply=60bar", "bleed-hose=fitted"]
)
def test_a_run_that_was_made_wrongly_proves_nothing_though_every_row_passed(bad: str) -> None:
    good = [
        word for word in (*STEADY, *RESPONSE) if word.split("=")[0] != bad.split("=", maxsplit=1)[0]
    ]
    told = ranked("mounted-6", *STEADY, *BLED, "response=PPPPPP", *good, bad)
    assert Proof(told).missing == JUST_RESPONSE


@pytest.mark.parametrize(
    ("work", "missing"),
    [
        ("replace-coil@row-6=done", JUST_RESPONSE),
        ("repair-branch@harness-1=done", JUST_RESPONSE),
        ("clean-terminals@power/feed=done", JUST_RESPONSE),
        ("replace-valve@row-6=done", BOTH),
        ("swap-valve@row-6=row-5", BOTH),
        ("reseat-coupler@supply/coupler=done", BOTH),
        ("replace-sensor@row-6=done", BOTH),  # its port opens the row's oil
    ],
)
def test_a_check_is_due_again_where_work_could_have_touched_it(
    work: str, missing: tuple[tuple[str, tuple[int, ...]], ...]
) -> None:
    found = proof(*BLED, *RESPONDED, work)
    assert found.missing == missing
    assert not found.holds


def test_passes_from_before_the_work_do_not_prove_it() -> None:
    assert not proof(*FAILED, *RESPONDED, "replace-coil@row-6=done").holds
    assert proof(*FAILED, "replace-coil@row-6=done", *RESPONDED, *RESPONDED).missing == ()


def test_a_failure_after_the_full_pass_wants_another_one() -> None:
    found = proof(*BLED, *RESPONDED, "response=.....F", *RESPONSE, "response=.....P", *RESPONSE)
    assert found.missing == JUST_RESPONSE


@pytest.mark.parametrize("bad", ["engine=off", "oil=15C", "moving=yes", "bleed-hose=fitted"])
def test_a_run_known_to_be_bad_does_not_prove(bad: str) -> None:
    name = bad.partition("=")[0]
    good = [each for each in (*STEADY, *RESPONSE) if not each.startswith(name)]
    found = Proof(ranked("mounted-6", *STEADY, *BLED, "response=PPPPPP", *good, bad))
    assert (found.holds, found.missing) == (False, JUST_RESPONSE)


def test_a_row_that_failed_last_is_not_proven() -> None:
    found = proof(*FAILED)
    assert (found.holds, found.says) == (False, "not proven: row 6 failed last")


@pytest.mark.parametrize(
    ("swap", "things"),
    [
        ("cross-plugs", "leads"),
        ("swap-coil", "coils"),
        ("swap-valve", "valves"),
        ("swap-driver", "drivers"),
        ("swap-sensor", "pressure sensors"),
    ],
)
def test_what_is_still_exchanged_goes_back_before_anything_is_proven(
    swap: str, things: str
) -> None:
    story = (*FAILED, f"{swap}@row-6=row-5", *BLED, *RESPONDED, *RESPONDED)
    found = proof(*story)
    assert not found.holds
    assert f"the {things} of rows 5 and 6 are still exchanged" in found.says
    back, *runs = found.next()
    assert (back.kind, back.rows) == ("swap", (5, 6))
    assert {run.rows for run in runs} == {EVERY}
    assert proof(*story, f"{swap}@row-5=row-6").exchanged == ()


def test_what_cannot_be_put_back_is_handed_over_unproven() -> None:
    story = (*FAILED, "cross-plugs@row-6=row-5", *BLED, *RESPONDED, *RESPONDED)
    back = Plan(proof(*story).ranking).act
    assert back is not None
    skipped = Plan(proof(*story).ranking, means=Means(skipped=frozenset({back.id})))
    assert (skipped.act, skipped.proof.holds) == (None, False)


def test_a_new_coil_ends_the_exchange_of_coils_but_crossed_leads_stay_crossed() -> None:
    def after(swap: str) -> Proof:
        return proof(*FAILED, f"{swap}@row-6=row-5", "replace-coil@row-5=done", *BLED, *RESPONDED)

    assert after("swap-coil").exchanged == ()
    assert [each.swap.id for each in after("cross-plugs").exchanged] == ["cross-plugs"]


def test_the_bound_is_on_a_part_and_not_on_each_of_its_modes() -> None:
    found = proof(*FAILED, *RESPONDED, *RESPONDED)
    (likely, *_) = found.suspects
    modes = [c.probability for c in found.ranking.causes if c.part == likely.part]
    assert likely.probability == pytest.approx(sum(modes))
    assert max(modes) < likely.probability
    limit = (max(modes) + likely.probability) / 2
    assert likely.part in [each.part for each in Proof(found.ranking, limit).suspects]


def test_what_is_likely_is_told_with_what_would_settle_it() -> None:
    found = proof(*FAILED, *RESPONDED)
    assert "row 6, row cylinder" in found.says
    assert "needs to be under 5 %" in found.says
    assert "more passes of response on row 6" in found.says
    acts = list(found.next())
    assert acts
    assert all(act.rows == (6,) for act in acts)


def test_as_many_passes_as_are_told_bring_the_part_below_the_bound() -> None:
    story = [*FAILED, *RESPONDED]
    needed = ("no", "one", "two", "three", "four", "five", "six").index(
        proof(*story).says.rpartition(": ")[2].split()[0]
    )
    part = proof(*story).suspects[0].part

    def likely(passes: int) -> bool:
        again = ("response=.....P", *RESPONSE) * passes
        return part in [each.part for each in proof(*story, *again).suspects]

    assert needed > 1
    assert likely(needed - 1)
    assert not likely(needed)


def test_where_no_number_of_passes_would_do_something_else_is_to_be_tried() -> None:
    found = Proof(ranked("mounted-6", *STEADY, *FAILED, *RESPONDED), below=1e-12)
    assert "passes of response alone will not tell" in found.says


def test_a_fault_that_comes_and_goes_is_to_be_provoked() -> None:
    found = proof(*FAILED, "valve-code@row-6=2", "replace-valve@row-6=done", *BLED, *RESPONDED)
    assert found.suspects[0].part == "row-6/connector"
    assert "shake the lead while it runs" in found.says


def test_a_sound_rows_small_prior_is_not_asked_for() -> None:
    assert Proof(proof(*BLED, *RESPONDED).ranking, below=1e-6).holds


def test_a_bad_reading_of_a_part_is_a_failure_that_was_seen() -> None:
    found = proof(*BLED, "coil-resistance@row-6=1000ohm", *RESPONDED)
    assert [each.part for each in Proof(found.ranking, 1e-6).suspects] == ["row-6/valve"]


def test_a_circumstance_of_a_past_run_is_nothing_that_is_left() -> None:
    found = proof(*FAILED, *RESPONDED, *RESPONDED)
    assert found.ranking.causes[0].group == "circumstances"
    assert found.leading is not None
    assert found.leading.group == "row"


def test_proving_after_a_bleed_stows_the_hose_first() -> None:
    (act,) = proof(*BLED).next()
    assert "stow it" in act.says
    assert any("engine off" in caution for caution in act.cautions)


def test_of_what_stands_in_the_way_the_first_thing_to_see_to_is_said_alone() -> None:
    """Parts go back before anything is run, and both before a part is suspected."""
    lacking = "not proven: full run of response, all rows together, has not passed"
    assert proof(*BLED).says == lacking
    exchanged = proof(*BLED, "swap-coil@row-6=row-5")
    assert exchanged.missing
    assert exchanged.says.startswith("not proven: the coils of rows 5 and 6 are still exchanged")
    assert "has not passed" not in exchanged.says
