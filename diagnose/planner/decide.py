"""What to do first about one fault group: the decision, read back as something to do."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from diagnose.decision.belief import Bound, repaired, start, tested
from diagnose.decision.lookahead import Act, Decision, Goal, Valued, decide, decide_from
from diagnose.decision.repair_order import repair_order
from diagnose.diagnosis.opened import checks_touched
from diagnose.inference import budget
from diagnose.planner.bleeding import bleed_after, followed
from diagnose.planner.candidates import Candidate, required_rerun, rerun
from diagnose.planner.problem import TroubleshootingProblem
from diagnose.planner.repairs import RepairOption
from diagnose.planner.tried import tried_enough
from diagnose.planner.verification import Proof
from diagnose.record import record
from diagnose.tolerances import (
    ACTS_ALIKE,
    CLEARLY_BETTER,
    DEPTH,
    EARNED,
    LIKELY_TO_PASS,
    NEGLIGIBLE_OUTCOME,
    QUESTIONS,
    SECONDS,
    TELLING,
    UNLIKELY_PART,
    WIDTH,
)

NO_ACT = "nothing that can be done here is worth its minutes any more"
QUALIFIED = "is for a qualified person, or under the machine's manual only"
TOLD_ALL = "no test at hand tells more"

TRIED_ENOUGH = "row {row} failed again after each of {tried} repairs: let somebody else look at it"


_AGAIN = ("repair", 0)
"""The mere check again, which is the first of the repairs."""

FIRST_ACT, AT_LEAST = 900e6, 100e6
"""Table entries that the posterior and what to do first may take together, about 5 seconds on one
core; and what is there for the act in any case."""


@record
class Offer:
    """Something to do and what is expected of it.

    ``minutes`` count the change of set-up; ``value`` is the expected minutes until the trouble is
    over (with the goal to isolate, bits per minute).
    """

    candidate: Candidate
    minutes: float
    value: float


@record
class Choice:
    """What to do first.

    Parameters
    ----------
    candidate: None when it is best to hand over, or nothing is left to do; ``says`` says why.
    repair_only: expected minutes when nothing more is tested.
    exact: whether no better act can exist.
    depth: how many acts were looked ahead.
    offers: everything that could be done, best first.
    """

    candidate: Candidate | None
    minutes: float
    value: float
    repair_only: float
    exact: bool
    depth: int
    offers: tuple[Offer, ...]
    says: str = ""
    required: bool = False


def best_choice(
    problem: TroubleshootingProblem,
    goal: Goal = "restore",
    depth: int = DEPTH,
    seconds: float = SECONDS,
) -> Choice:
    """The best that can be done first about a fault group, looking ``depth`` acts ahead.

    A rerun that first puts right a circumstance known to be bad comes before everything else
    when no sound run shows the failure. Raises `OverBudget` when that cannot be worked out.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "engine=off"])
    >>> choice = best_choice(plan(load_machine("mounted-6"), told).problem)
    >>> choice.required, choice.candidate.id, round(choice.minutes, 6)
    (True, 'response@6', 5.15)
    """
    with budget.within(max(FIRST_ACT - problem.ranking.entries, AT_LEAST)):
        return _best_choice(problem, goal, depth, seconds)


def _best_choice(problem: TroubleshootingProblem, goal: Goal, depth: int, seconds: float) -> Choice:
    """The same, whatever it takes."""
    enough = tried_enough(problem.evidence, problem.group.rows)
    if enough is not None:
        says = TRIED_ENOUGH.format(row=enough[0], tried=enough[1])
        worth = problem.knowledge.rates.hand_over_minutes
        return Choice(None, 0.0, worth, worth, False, 0, (), says)
    finite = problem.finite
    made = decide(finite, finite.prior, problem.setup, goal, depth, WIDTH, seconds)
    if goal == "restore" and problem.passes_again >= LIKELY_TO_PASS:
        made = _with_check_again(problem, made, depth, seconds)
    if goal == "restore":
        made = _with_questions(problem, made, depth, seconds)
    made = _without_unlikely_parts(problem, made)
    repair_only = repair_order(finite, finite.prior, problem.setup).minutes + problem.putting_right
    if goal == "restore":
        made = _put_right_once(problem, made)
    needed = required_rerun(problem.evidence)
    offers = tuple(_offers(problem, made))
    if goal == "restore":
        offers = _worthwhile_first(problem, offers)
    if needed is not None:
        first = _as_needed(problem, made, offers, needed)
        offers = (first, *(each for each in offers if each.candidate.id != needed.id))
        worth = first.value
        return Choice(needed, first.minutes, worth, repair_only, False, 1, offers, required=True)
    return _read_back(problem, made, repair_only, offers)


def _as_needed(
    problem: TroubleshootingProblem, made: Decision, offers: tuple[Offer, ...], needed: Candidate
) -> Offer:
    """What must come first, with what it leads to.

    Made on the rows of the group it is the mere check again: where they pass, nothing is left.
    What putting the run right takes is in every value already (`doubts`), and is not added again.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["bleed=PFFFPP", "supply=4bar"])
    >>> needed, *others = plan(load_machine("mounted-6"), told).choice.offers
    >>> needed.candidate.id, needed.value <= min(offer.value for offer in others)
    ('bleed@2-4', True)
    """
    minutes = needed.minutes + problem.change_to(needed)
    values = [offer.value for offer in offers if offer.candidate.id == needed.id]
    if needed.check != problem.check:
        return Offer(needed, minutes, min(values, default=minutes + made.value))
    check, rows = problem.knowledge.checks[needed.check], len(needed.rows)
    run = check.set_up_minutes + check.minutes_per_row * rows
    run += problem.knowledge.change_minutes(problem.setup_state.setup, check.setup)
    values.append(run + made.value)
    if set(needed.rows) >= set(problem.group.rows):
        more = check.minutes_per_row * (rows - len(problem.group.rows))
        again = (one for one in made.ranked if (one.act.kind, one.act.index) == _AGAIN)
        values.extend(one.value + more for one in again)
    return Offer(needed, minutes, min(values))


def _with_check_again(
    problem: TroubleshootingProblem, made: Decision, depth: int, seconds: float
) -> Decision:
    """The same, with the mere check again followed as far as if it had been made already.

    It stands in front of every plan of repairs, so whatever comes before it seems to see one act
    farther than it does itself.
    """
    finite = problem.finite
    here = start(finite, finite.prior, problem.setup)
    failed = repaired(finite, here, np.array([0]))
    value = float(finite.repair_minutes[problem.setup, 0])
    if failed.mass[0] > NEGLIGIBLE_OUTCOME:
        after = decide_from(finite, failed, "restore", depth, WIDTH, seconds)
        value += float(failed.mass[0]) * after.value
    again = Valued(Act("repair", 0, finite.repairs[0].id), value, depth + 1)
    others = [each for each in made.ranked if each.act != again.act]
    ranked = tuple(sorted([again, *others], key=lambda each: round(each.value, ACTS_ALIKE)))
    return replace(made, act=ranked[0].act, value=ranked[0].value, ranked=ranked)


def _with_questions(
    problem: TroubleshootingProblem, made: Decision, depth: int, seconds: float
) -> Decision:
    """The same, with the most telling questions followed as far as if they were answered already.

    Nobody needs longer for not knowing what a minute's question tells than by asking it.
    """
    asked = [
        each
        for each in made.ranked
        if each.act.kind == "test"
        and problem.tests[each.act.index][0].kind == "ask"
        and problem.tests[each.act.index][1].bits >= TELLING
    ]
    asked.sort(key=lambda each: -problem.tests[each.act.index][1].bits)
    most = made.value * (1 - CLEARLY_BETTER)
    followed = [_followed(problem, each, most, depth, seconds) for each in asked[:QUESTIONS]]
    worth = {each.act: each for each in followed if each.value < most}
    if not worth:
        return made
    every = [worth.get(each.act, each) for each in made.ranked]
    ranked = tuple(sorted(every, key=lambda each: round(each.value, ACTS_ALIKE)))
    return replace(made, act=ranked[0].act, value=ranked[0].value, ranked=ranked)


def _followed(
    problem: TroubleshootingProblem, asked: Valued, most: float, depth: int, seconds: float
) -> Valued:
    """The same question followed so far, or as it was once it cannot come below ``most`` so."""
    finite = problem.finite
    here = start(finite, finite.prior, problem.setup)
    after, _, _ = tested(finite, here, np.array([asked.act.index]))
    value = float(finite.test_minutes[problem.setup, asked.act.index])
    least = Bound(finite).minutes(after)
    for place, mass in enumerate(after.mass.tolist()):
        if value + float(least[place:].sum()) >= most:
            return asked
        then = after.at(np.array([place]))
        value += mass * decide_from(finite, then, "restore", depth, WIDTH, seconds).value
    return Valued(asked.act, min(value, asked.value), depth + 1)


def _put_right_once(problem: TroubleshootingProblem, made: Decision) -> Decision:
    """The same with the minutes to put the run right, which every act but handing over leads to."""
    more = problem.putting_right
    valued = [
        each if each.act.kind == "last resort" else replace(each, value=each.value + more)
        for each in made.ranked
    ]
    ranked = tuple(sorted(valued, key=lambda each: round(each.value, ACTS_ALIKE)))
    value = next(each.value for each in ranked if each.act == made.act)
    if made.act == made.ranked[0].act:
        return replace(made, act=ranked[0].act, value=ranked[0].value, ranked=ranked)
    return replace(made, value=value, ranked=ranked)


def _without_unlikely_parts(problem: TroubleshootingProblem, made: Decision) -> Decision:
    """The same, but no part that is hardly to blame is replaced while something is left that tells.

    A new part for what is almost surely sound may be the quickest guess, and is a wrong one.
    """
    telling = any(
        known.bits >= TELLING and candidate.kind in ("rerun", "measure", "look")
        for candidate, known in problem.tests
    )
    likely = _likely_at(problem) if telling else {}
    ranked = tuple(
        each for each in made.ranked if not (telling and _unlikely_part(problem, each.act, likely))
    )
    if made.act.kind == "stop" or made.act == ranked[0].act:
        return replace(made, ranked=ranked)
    best = next(each for each in ranked if each.act.kind != "last resort")
    return replace(made, act=best.act, value=best.value, ranked=ranked)


def _likely_at(problem: TroubleshootingProblem) -> Mapping[str, float]:
    """How likely something is at fault, by the place where the part is by now."""
    place_of = problem.evidence.epochs.place_of
    likely: dict[str, float] = defaultdict(float)
    for cause in problem.ranking.causes:
        likely[place_of(cause.part, cause.mode)] += cause.probability
    return likely


def _unlikely_part(problem: TroubleshootingProblem, act: Act, likely: Mapping[str, float]) -> bool:
    """Whether an act puts in new parts where hardly anything is likely to be at fault."""
    repair = problem.repairs[act.index].candidate if act.kind == "repair" else None
    if repair is None or repair.price == "none":
        return False
    return likely.get(repair.part, 0.0) < UNLIKELY_PART


def _read_back(
    problem: TroubleshootingProblem, made: Decision, repair_only: float, offers: tuple[Offer, ...]
) -> Choice:
    candidate = candidate_of(problem, made.act)
    says = "" if candidate else TOLD_ALL if made.act.kind == "stop" else NO_ACT
    if candidate is not None and candidate.qualified:
        says = f"{candidate.says.partition('; then')[0].rstrip('.')}: this {QUALIFIED}"
        candidate = None
    minutes = candidate.minutes + problem.change_to(candidate) if candidate else 0.0
    return Choice(
        candidate,
        minutes,
        made.value,
        repair_only,
        made.exact,
        made.depth_reached,
        offers,
        says,
    )


def _offers(problem: TroubleshootingProblem, made: Decision) -> list[Offer]:
    found: dict[str, Offer] = {}
    for valued in made.ranked:
        candidate = candidate_of(problem, valued.act)
        if candidate is not None:
            minutes = candidate.minutes + problem.change_to(candidate)
            found.setdefault(candidate.id, Offer(candidate, minutes, valued.value))
    return list(found.values())


def _worthwhile_first(
    problem: TroubleshootingProblem, offers: tuple[Offer, ...]
) -> tuple[Offer, ...]:
    """The same, but what neither earns back its minutes nor tells anything stands last.

    A question that takes a minute and tells nothing costs but a minute more than the best act:
    that makes it no second best.

    >>> from diagnose import load_machine, plan, read_typed
    >>> machine, told = load_machine("mounted-6"), ["response=PPPFFF", "oil=54C"]
    >>> case = read_typed(machine, [*told, "coil-resistance@row-4=8ohm"])
    >>> problem = plan(machine, case).problem
    >>> silent = next(test for test, known in problem.tests if known.bits < TELLING)
    >>> loud = next(test for test, known in problem.tests if known.bits >= TELLING)
    >>> offers = Offer(loud, 1.0, 60.0), Offer(silent, 1.0, 61.0), Offer(loud, 1.0, 61.0)
    >>> [offer.candidate is loud for offer in _worthwhile_first(problem, offers)]
    [True, True, False]
    """
    best = min((offer.value for offer in offers), default=0.0)
    bits = {candidate.id: known.bits for candidate, known in problem.tests}

    def idle(offer: Offer) -> bool:
        earned = offer.minutes - (offer.value - best)
        return earned < EARNED * offer.minutes and bits.get(offer.candidate.id, 0.0) < TELLING

    return tuple(sorted(offers, key=idle))


def candidate_of(problem: TroubleshootingProblem, act: Act) -> Candidate | None:
    """What an act of the decision stands for; None for handing over and for stopping.

    A repair comes with the check that proves it; the mere check again is a rerun.

    A new coil takes 15 minutes, starting again 1, and the check on its row 3.15.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> problem = plan(load_machine("mounted-6"), told).problem
    >>> repairs = [repair.id for repair in problem.finite.repairs]
    >>> act = candidate_of(problem, Act("repair", repairs.index("replace-coil@row-6/valve")))
    >>> [outcome.result for outcome in act.outcomes], round(act.minutes, 6)
    (['passes', 'fails again'], 19.15)
    """
    if act.kind == "test":
        return problem.tests[act.index][0]
    if act.kind != "repair":
        return None
    repair = problem.repairs[act.index]
    if repair.candidate is None:
        return _check_again(problem, float(repair.fixes @ problem.information.blame))
    assert repair.candidate.work is not None
    bleed = bleed_after(problem.evidence, repair.candidate.work, repair.candidate.check)
    return followed(problem.evidence, repair.candidate, bleed, _proof_of(problem, repair))


def _check_again(problem: TroubleshootingProblem, passes: float) -> Candidate:
    """The mere check again: of the failed rows, or at once what the proof wants anyway.

    More than the failed rows is worth its minutes when ``passes`` is likely enough: it saves
    setting the check up once more, or coming back to the set-up in which the machine is. While
    rows of another fault group fail too, work is still to come, and all is to be proven after it;
    and only what is due first would count.
    """
    rows, known = problem.group.rows, problem.knowledge
    best, most = (problem.check, rows), 0.0
    for check, missing in () if others_fail(problem) else Proof(problem.ranking).missing[:1]:
        made = known.checks[check]
        if check == problem.check:
            wanted, worth = missing, worth_at_once(problem, check, passes)
        else:
            wanted, extra = missing, made.set_up_minutes + made.minutes_per_row * len(missing)
            saved = known.change_minutes(known.checks[problem.check].setup, made.setup)
            saved *= problem.setup_state.setup == made.setup
            worth = passes * saved - (1 - passes) * extra
        if wanted != rows and worth > most:
            best, most = (check, wanted), worth
    return rerun(problem.evidence, *best, rows)


def others_fail(problem: TroubleshootingProblem) -> bool:
    """Whether rows of another fault group fail, too.

    >>> from diagnose import load_machine, plan, read_typed
    >>> machine, both = load_machine("mounted-6"), ["bleed={0}", "response={0}"]
    >>> for pattern in ("FFFFFF", "FPPPPF"):
    ...     told = read_typed(machine, [each.format(pattern) for each in both])
    ...     print(others_fail(plan(machine, told).problem))
    False
    True
    """
    return bool({row for _, row in problem.evidence.standing_failures} - {*problem.group.rows})


def worth_at_once(problem: TroubleshootingProblem, check: str, passes: float) -> float:
    """Minutes that a run of every row saves over one of the failed rows and a full one later.

    It saves 3 minutes of setting up when it passes, and wastes 5 · 0.15 when it does not.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> problem = plan(load_machine("mounted-6"), told).problem
    >>> [round(worth_at_once(problem, "response", passes), 6) for passes in (0.0, 1.0)]
    [-0.75, 3.0]
    """
    made = problem.knowledge.checks[check]
    more = problem.evidence.model.machine.rows - len(problem.group.rows)
    return passes * made.set_up_minutes - (1 - passes) * made.minutes_per_row * more


def _proof_of(problem: TroubleshootingProblem, repair: RepairOption) -> Candidate:
    """The check that shows whether a remedy has worked: on every row where that saves minutes."""
    assert repair.candidate is not None
    check, blame = repair.candidate.check, problem.information.blame
    passes = float(repair.fixes @ blame / blame.sum())
    first = _first_due(problem, repair.candidate) == check and not others_fail(problem)
    if not first or worth_at_once(problem, check, passes) <= 0:
        return problem.proofs[check]
    every = range(1, problem.evidence.model.machine.rows + 1)
    return rerun(problem.evidence, check, tuple(every), problem.group.rows)


def _first_due(problem: TroubleshootingProblem, candidate: Candidate) -> str | None:
    """The check whose full run comes first once a remedy was done."""
    assert candidate.work is not None
    due = {check for check, _ in Proof(problem.ranking).missing}
    due |= checks_touched(problem.evidence.model.machine, problem.knowledge, candidate.work)
    return next((check for check in problem.knowledge.checks if check in due), None)
