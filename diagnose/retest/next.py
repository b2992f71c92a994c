"""What to do first about one trouble: the decision, read back as something to do."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from diagnose.cases.case import Result
from diagnose.decision.lookahead import ALIKE, Act, Decision, Valued, decide, decide_from
from diagnose.decision.repairs import repair_order
from diagnose.decision.situation import NEGLIGIBLE, repaired, start
from diagnose.noisyor import budget
from diagnose.record import record
from diagnose.retest.candidates import Candidate, required_rerun, rerun
from diagnose.retest.proof import Proof
from diagnose.retest.scene import Scene

Goal = Literal["restore", "isolate"]

DEPTH, WIDTH, SECONDS = 2, 6, 0.3
"""How far to look ahead: acts deep, acts followed at each step, and no longer than this."""

EARNED, TELLING = 0.1, 0.05
"""What earns back less than this part of its minutes, and tells fewer bits, is offered last."""

LIKELY_TO_PASS = 0.4
"""From this chance on that the mere check again passes, it is looked at more closely."""

NO_ACT = "nothing that can be done here is worth its minutes any more"
QUALIFIED = "is for a qualified person, or under the machine's manual only"
TOLD_ALL = "no test at hand tells more"

TRIES = 7
"""After so many failures of one row somebody else looks at it (judgement).

Each failure after more work doubles what an exact answer takes, too: seven are done within a
second, ten want a minute.
"""

FIRST_ACT = 700e6
"""Table entries that what to do first may take: 2 to 4 seconds on one core."""

TRIED_ENOUGH = "the row failed {failures} times and nothing helped: let somebody else look at it"


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
    scene: Scene, goal: Goal = "restore", depth: int = DEPTH, seconds: float = SECONDS
) -> Choice:
    """The best that can be done first about a trouble, looking ``depth`` acts ahead.

    A rerun that first puts right a circumstance known to be bad comes before everything else
    when no sound run shows the failure. Raises `OverBudget` when that cannot be worked out.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "engine=off"])
    >>> choice = best_choice(plan(load_machine("mounted-6"), told).scene)
    >>> choice.required, choice.candidate.id, round(choice.minutes, 6)
    (True, 'response@6', 5.15)
    """
    with budget.within(FIRST_ACT):
        return _best_choice(scene, goal, depth, seconds)


def _best_choice(scene: Scene, goal: Goal, depth: int, seconds: float) -> Choice:
    """The same, whatever it takes."""
    failures = failures_of(scene)
    if failures >= TRIES:
        says = TRIED_ENOUGH.format(failures=failures)
        worth = scene.knowledge.rates.hand_over_minutes
        return Choice(None, 0.0, worth, worth, False, 0, (), says)
    problem = scene.problem
    made = decide(problem, problem.prior, scene.setup, goal, depth, WIDTH, seconds)
    if goal == "restore" and scene.passes_again >= LIKELY_TO_PASS:
        made = _with_check_again(scene, made, depth, seconds)
    repair_only = repair_order(problem, problem.prior, scene.setup).minutes
    needed = required_rerun(scene.evidence)
    offers = tuple(_offers(scene, made))
    if goal == "restore":
        offers = _worthwhile_first(scene, offers)
    if needed is not None:
        minutes = needed.minutes + scene.change_to(needed)
        first = Offer(needed, minutes, minutes + made.value * (1 - scene.passes_again))
        offers = (first, *(each for each in offers if each.candidate.id != needed.id))
        return Choice(needed, minutes, first.value, repair_only, False, 1, offers, required=True)
    return _read_back(scene, made, repair_only, offers)


def _with_check_again(scene: Scene, made: Decision, depth: int, seconds: float) -> Decision:
    """The same, with the mere check again followed as far as if it had been made already.

    It stands in front of every plan of repairs, so whatever comes before it seems to see one act
    farther than it does itself.
    """
    problem = scene.problem
    here = start(problem, problem.prior, scene.setup)
    failed = repaired(problem, here, np.array([0]))
    value = float(problem.repair_minutes[scene.setup, 0])
    if failed.mass[0] > NEGLIGIBLE:
        after = decide_from(problem, failed, "restore", depth, WIDTH, seconds)
        value += float(failed.mass[0]) * after.value
    again = Valued(Act("repair", 0, problem.repairs[0].id), value, depth + 1)
    others = [each for each in made.ranked if each.act != again.act]
    ranked = tuple(sorted([again, *others], key=lambda each: round(each.value, ALIKE)))
    return replace(made, act=ranked[0].act, value=ranked[0].value, ranked=ranked)


def failures_of(scene: Scene) -> int:
    """How often a row of the trouble has failed; after `TRIES` the planner hands over.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "response=....PF"])
    >>> failures_of(plan(load_machine("mounted-6"), told).scene)
    2
    """
    runs = scene.evidence.case.runs
    return max(
        sum(run.results[row - 1] is Result.FAIL for run in runs) for row in scene.trouble.rows
    )


def _read_back(
    scene: Scene, made: Decision, repair_only: float, offers: tuple[Offer, ...]
) -> Choice:
    candidate = candidate_of(scene, made.act)
    says = "" if candidate else TOLD_ALL if made.act.kind == "stop" else NO_ACT
    if candidate is not None and candidate.qualified:
        says = f"{candidate.says.partition('; then')[0].rstrip('.')}: this {QUALIFIED}"
        candidate = None
    minutes = candidate.minutes + scene.change_to(candidate) if candidate else 0.0
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


def _offers(scene: Scene, made: Decision) -> list[Offer]:
    found: dict[str, Offer] = {}
    for valued in made.ranked:
        candidate = candidate_of(scene, valued.act)
        if candidate is not None:
            minutes = candidate.minutes + scene.change_to(candidate)
            found.setdefault(candidate.id, Offer(candidate, minutes, valued.value))
    return list(found.values())


def _worthwhile_first(scene: Scene, offers: tuple[Offer, ...]) -> tuple[Offer, ...]:
    """The same, but what neither earns back its minutes nor tells anything stands last.

    A question that takes a minute and tells nothing costs but a minute more than the best act:
    that makes it no second best.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = ["response=PPPFFF", "oil=54C", "coil-resistance@row-4=8ohm"]
    >>> scene = plan(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), told)).scene
    >>> silent = next(test for test, known in scene.tests if known.bits < TELLING)
    >>> loud = next(test for test, known in scene.tests if known.bits >= TELLING)
    >>> offers = Offer(loud, 1.0, 60.0), Offer(silent, 1.0, 61.0), Offer(loud, 1.0, 61.0)
    >>> [offer.candidate is loud for offer in _worthwhile_first(scene, offers)]
    [True, True, False]
    """
    best = min((offer.value for offer in offers), default=0.0)
    bits = {candidate.id: known.bits for candidate, known in scene.tests}

    def idle(offer: Offer) -> bool:
        earned = offer.minutes - (offer.value - best)
        return earned < EARNED * offer.minutes and bits.get(offer.candidate.id, 0.0) < TELLING

    return tuple(sorted(offers, key=idle))


def candidate_of(scene: Scene, act: Act) -> Candidate | None:
    """What an act of the decision stands for; None for handing over and for stopping.

    A repair comes with the check that proves it; the mere check again is a rerun.

    A new coil takes 15 minutes, starting again 1, and the check on its row 3.15.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> scene = plan(load_machine("mounted-6"), told).scene
    >>> repairs = [repair.id for repair in scene.problem.repairs]
    >>> act = candidate_of(scene, Act("repair", repairs.index("replace-coil@row-6/valve")))
    >>> [outcome.result for outcome in act.outcomes], round(act.minutes, 6)
    (['passes', 'fails again'], 19.15)
    """
    if act.kind == "test":
        return scene.tests[act.index][0]
    if act.kind != "repair":
        return None
    mend = scene.mends[act.index].candidate
    if mend is None:
        return _check_again(scene, float(scene.mends[act.index].fixes @ scene.scales.blame))
    again = scene.proofs[mend.check]
    back = scene.knowledge.change_minutes(mend.setup, again.setup)
    return replace(
        mend,
        says=f"{mend.says.rstrip('.')}; then {again.says}",
        minutes=mend.minutes + back + again.minutes,
        outcomes=again.outcomes,
        needs=tuple(dict.fromkeys([*mend.needs, *again.needs])),
        cautions=tuple(dict.fromkeys([*mend.cautions, *again.cautions])),
        ends=again.setup,
        wants=tuple(dict.fromkeys([*mend.wants, *again.wants])),
    )


def _check_again(scene: Scene, passes: float) -> Candidate:
    """The mere check again: of the failed rows, or at once what the proof wants anyway.

    More than the failed rows is worth its minutes when ``passes`` is likely enough: it saves
    setting the check up once more, or coming back to the set-up in which the machine is. While
    rows fail for another trouble too, work is still to come, and all is to be proven after it.
    """
    rows, known = scene.trouble.rows, scene.knowledge
    best, most = (scene.check, rows), 0.0
    others = {row for _, row in scene.evidence.standing_failures} - set(rows)
    for check, missing in () if others else Proof(scene.ranking).missing:
        made = known.checks[check]
        if check == scene.check:
            wanted = tuple(sorted({*rows, *missing}))
            saved, extra = made.set_up_minutes, made.minutes_per_row * (len(wanted) - len(rows))
        else:
            wanted, extra = missing, made.set_up_minutes + made.minutes_per_row * len(missing)
            saved = known.change_minutes(known.checks[scene.check].setup, made.setup)
            saved *= scene.standing.setup == made.setup
        worth = passes * saved - (1 - passes) * extra
        if wanted != rows and worth > most:
            best, most = (check, wanted), worth
    return rerun(scene.evidence, *best, rows)
