"""What a fault group would cost to repair in order, from the posterior alone.

Quick enough for every one of a machine; the one that is worked on now is reckoned with
its whole troubleshooting problem.
"""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.decision.repair_order import p_over_c
from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.knowledge.checks import Check
from diagnose.planner.bleeding import bleed_minutes
from diagnose.planner.fault_groups import FaultGroup


def repair_minutes_of(ranking: Ranking, group: FaultGroup) -> float:
    """Expected minutes to clear one fault group by repairs in p/c order, each with a check after.

    Its causes are taken as exclusive, in the proportions of their posterior; those that it shares
    with the failure that it is told apart from are left out. What no remedy is for needs only the
    check again; where handing over is cheaper than going on, it is reckoned.

    A coil that read open: 15 to replace it, 30 for the part, a minute to stop and one to
    start, 3.15 of checking; that it was something else adds little.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = ["bleed=PPPPPP", "response=PPPPPF", "coil-resistance@row-6=100ohm"]
    >>> found = plan(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), told))
    >>> minutes = repair_minutes_of(found.ranking, found.groups[0])
    >>> 50.15 < minutes < 60
    True
    """
    evidence = ranking.evidence
    check = evidence.model.knowledge.checks[evidence.case.runs[group.target.run - 1].check]
    proof = check.set_up_minutes + check.minutes_per_row * len(group.rows)
    chance: dict[str, float] = {}
    cost: dict[str, float] = {}
    for name, cause in _remedied(ranking, group):
        assert cause.remedy is not None
        tried = evidence.epochs.tried(cause.part, cause.mode, cause.remedy.id)
        fixes = cause.remedy.fixes_after(tried)
        chance[name] = chance.get(name, 0.0) + cause.probability * fixes
        cost[name] = _work(ranking, cause, check) + proof
    own = _own_states(group)
    whole = max(sum(chance.values()), float(ranking.posterior.flat[own].sum()) if group.of else 1.0)
    if whole <= 0:
        return 0.0
    p = [1 - sum(chance.values()) / whole, *(each / whole for each in chance.values())]
    return _in_order(p, [proof, *cost.values()], evidence.model.knowledge.rates.hand_over_minutes)


def _in_order(p: list[float], cost: list[float], hand_over: float) -> float:
    """Least expected minutes over all places at which to stop trying and hand over.

    >>> _in_order([0.5, 0.5], [10.0, 20.0], 300.0)
    20.0
    """
    left, spent, least = 1.0, 0.0, hand_over
    for one in p_over_c(p, cost):
        spent += left * cost[one]
        left = max(left - p[one], 0.0)
        least = min(least, spent + left * hand_over)
    return least


def _remedied(ranking: Ranking, group: FaultGroup) -> Iterator[tuple[str, Cause]]:
    """The causes that can make the target fail and have a remedy, each with what is done."""
    states = set(_own_states(group))
    for cause in ranking.causes:
        if cause.remedy is not None and states & set(cause.states):
            place = ranking.evidence.epochs.place_of(cause.part, cause.mode)
            yield f"{cause.remedy.id}@{place}", cause


def _own_states(group: FaultGroup) -> list[int]:
    """The states that can bring the target about, but not the failure that it is apart from."""
    others = set(group.of.entries[0].tolist()) if group.of else set()
    return [state for state in group.target.entries[0].tolist() if state not in others]


def _work(ranking: Ranking, cause: Cause, check: Check) -> float:
    """Minutes of a cause's remedy: there, the work, the parts, and back to the check."""
    knowledge, remedy = ranking.evidence.model.knowledge, cause.remedy
    assert remedy is not None
    rows = len(ranking.evidence.model.machine.rows_of(cause.part))
    there = knowledge.change_minutes(check.setup, remedy.setup)
    back = knowledge.change_minutes(remedy.setup, check.setup)
    parts = knowledge.rates.price_minutes[remedy.parts_price]
    bleed = bleed_minutes(knowledge, remedy, rows, check)
    return there + remedy.minutes_for(rows) + parts + back + bleed
