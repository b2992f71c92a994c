"""What the rules advise beside causes and acts: cautions, and what to think of first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.machine.graph import Machine
from diagnose.planner.candidates import Candidate
from diagnose.rules.acts import ask_act, measure_act, remedy_act, rerun_act, swap_act
from diagnose.rules.conclude import advise
from diagnose.rules.facts import facts_of
from diagnose.rules.finding import Fact, RuleFinding
from diagnose.rules.loading import load_rules

DEFERRAL = (
    "The machine's own manual, local codes and a qualified technician come first; "
    "where they say otherwise, do as they say."
)
"""What every answer says last."""


def advice(
    ranking: Ranking, causes: Sequence[Cause], acts: Iterable[Candidate]
) -> tuple[RuleFinding, ...]:
    """What the rules say about acts that are proposed, and about the remedies of causes.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> from diagnose.api import rank
    >>> machine = load_machine("mounted-6")
    >>> act = Candidate("response@6", "rerun", "", (6,), 3.15, (), check="response")
    >>> said = advice(rank(machine, read_typed(machine, ["response=PPPPPF"])), (), [act])
    >>> [each.about for each in said if each.rule == "nobody-near-rows"]
    [('response@6',)]
    """
    evidence = ranking.evidence
    machine, knowledge = evidence.model.machine, evidence.model.knowledge
    told = [act_fact(act, machine) for act in acts]
    told += [
        remedy_act(f"{cause.remedy.id}@{cause.part}", machine, cause.part, cause.remedy)
        for cause in causes
        if cause.remedy is not None
    ]
    every = {str(fact.values["act"]): fact for fact in told}
    facts = evidence.facts or facts_of(machine, evidence.case, knowledge)
    return advise(list(every.values()), facts, evidence.findings, load_rules())


def act_fact(act: Candidate, machine: Machine) -> Fact:
    """An act as a fact that rules can match.

    >>> from diagnose.machine.graph import load_machine
    >>> act = Candidate("response@5-7", "rerun", "", (5, 6, 7), 3.45, (), check="response")
    >>> fact = act_fact(act, load_machine("mounted-12"))
    >>> fact.values["what"], fact.values["check"], fact.values["rows"]
    ('rerun', 'response', 3)
    >>> part = "row-5/valve"
    >>> act = Candidate("replace-coil@row-5/valve", "remedy", "", (5,), 15, (), part=part)
    >>> act_fact(act, load_machine("mounted-12")).values["what"]
    'remedy'
    """
    if act.kind == "rerun":
        return rerun_act(act.id, act.check, len(act.rows))
    if act.kind == "ask":
        return ask_act(act.id, act.id.removeprefix("ask:").partition("@")[0])
    name, kind = act.id.partition("@")[0], machine.parts[act.part]
    if act.kind == "remedy":
        return remedy_act(act.id, machine, act.part, kind.remedy(name))
    if act.kind == "swap":
        return swap_act(act.id, machine, act.part, kind.swap(name))
    return measure_act(act.id, machine, act.part, kind.measurement(name))


def cautions_of(act: Candidate, said: Sequence[RuleFinding]) -> tuple[str, ...]:
    """What to beware of in an act: its own cautions, then those of the rules, each once.

    >>> act = Candidate("a@b", "look", "", (), 2.0, (), cautions=("It is hot.",))
    >>> said = [RuleFinding("r", "caution", {}, f"{id} moves.", (id,), ()) for id in ("a@b", "c@d")]
    >>> cautions_of(act, said)
    ('It is hot.', 'a@b moves.')
    """
    ruled = [each.says for each in said if each.kind == "caution" and act.id in each.about]
    return tuple(dict.fromkeys([*act.cautions, *ruled]))
