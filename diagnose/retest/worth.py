"""What a trouble would cost to repair in order, from the posterior alone.

Quick enough for every trouble of a machine; the trouble that is worked on now is reckoned with
its whole scene.
"""

from __future__ import annotations

from collections.abc import Sequence

from diagnose.decision.repairs import expected_cost, p_over_c
from diagnose.knowledge.parts import PARKED
from diagnose.ranking.causes import Ranking
from diagnose.retest.targets import Trouble


def repair_minutes_of(ranking: Ranking, trouble: Trouble) -> float:
    """Expected minutes to put one trouble right by repairs in p/c order, each with a check after.

    Its causes are taken as exclusive, in the proportions of their posterior; what cannot be
    repaired goes to handing over.
    """
    evidence = ranking.evidence
    knowledge = evidence.model.knowledge
    check = knowledge.checks[evidence.case.runs[trouble.target.run - 1].check]
    proof = check.set_up_minutes + check.minutes_per_row * len(trouble.rows)
    states = set(trouble.target.entries[0].tolist())
    chance: dict[str, float] = {}
    cost: dict[str, float] = {}
    for cause in ranking.causes:
        if cause.remedy is not None and states & set(cause.states):
            place = evidence.epochs.place_of(cause.part, cause.mode)
            name = f"{cause.remedy.id}@{place}"
            chance[name] = chance.get(name, 0.0) + cause.probability * cause.remedy.fixes
            there = knowledge.change_minutes(check.setup, cause.remedy.setup or PARKED)
            back = knowledge.change_minutes(cause.remedy.setup or PARKED, check.setup)
            price = knowledge.rates.price_minutes[cause.remedy.parts_price]
            cost[name] = cause.remedy.minutes + price + there + back + proof
    if not chance:
        return proof
    whole = max(sum(chance.values()), 1.0)
    p, c = [each / whole for each in chance.values()], list(cost.values())

    def still_bad(done: Sequence[int]) -> float:
        return max(1 - sum(p[one] for one in done), 0.0)

    order = p_over_c(p, c)
    left = still_bad(order) * knowledge.rates.hand_over_minutes
    return expected_cost(order, c, still_bad) + left
