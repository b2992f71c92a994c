"""From a machine and what was observed on it to what may be wrong, and to what to do about it.

    observed text -> case -> facts -> findings -> evidence -> posterior -> causes -> acts

`rank` goes as far as the causes, `plan` on to the acts. What rules know of a case and what they
find in it is worked out here once, and goes with the evidence.
"""

from __future__ import annotations

from collections.abc import Callable

from diagnose.decision.lookahead import Goal
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence
from diagnose.diagnosis.model import Model
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.planner.contingent_plan import Plan
from diagnose.planner.problem import Means
from diagnose.rules.conclude import conclude
from diagnose.rules.facts import facts_of
from diagnose.rules.loading import load_rules


def rank(machine: Machine, case: Case, knowledge: Knowledge | None = None) -> Ranking:
    """What may be wrong with a machine, given what was observed.

    Raises `ImpossibleEvidence` when no combination of faults can produce the results. Where failing
    runs multiply beyond what can be worked out exactly, chances have limits: `Ranking.bounds`.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-12")
    >>> rank(machine, read_typed(machine, ["response=PPPFPPPPPPPP", "oil=54C"])).causes[0].rows
    (4,)
    """
    knowledge = knowledge or load_knowledge()
    facts = facts_of(machine, case, knowledge)
    findings = conclude(facts, load_rules())
    evidence = Evidence(Model(machine, knowledge), case, findings, facts)
    ranking = Ranking(evidence)
    _ = ranking.posterior
    return ranking


def plan(
    machine: Machine,
    case: Case,
    goal: Goal = "restore",
    means: Means | None = None,
    depth: int = 2,
    knowledge: Knowledge | None = None,
    progress: Callable[[int], None] | None = None,
) -> Plan:
    """What to do about a machine, given what was observed.

    Raises `ImpossibleEvidence` when no combination of faults can produce the results.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> found = plan(machine, read_typed(machine, ["bleed=PPPPPP", "response=PPPPPP"]))
    >>> found.tree.kind
    'proven'
    """
    ranking = rank(machine, case, knowledge)
    return Plan(ranking, goal, means or Means(), depth, progress)
