"""A whole plan: the act at every turn that things may take."""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from diagnose.arrays import Floats
from diagnose.decision.belief import BeliefStates, repaired, start, tested
from diagnose.decision.lookahead import Act, Goal, decide_from
from diagnose.decision.problem import DecisionProblem
from diagnose.decision.repair_order import plan_repairs
from diagnose.record import record
from diagnose.tolerances import NEGLIGIBLE_OUTCOME

WELL, STILL_WRONG = 0, 1
"""The outcomes of a repair's proof."""


@record
class Node:
    """An act, its minutes with the change of set-up, and what may come of it."""

    act: Act
    minutes: float
    outcomes: tuple[Outcome, ...] = ()


@record
class Outcome:
    """An outcome of an act by its number, its probability, and the next act; None at an end."""

    index: int
    probability: float
    then: Node | None


def policy_tree(
    problem: DecisionProblem,
    belief: Floats,
    setup: int,
    goal: Goal = "restore",
    depth: int = 1,
    width: int = 8,
    seconds: float = np.inf,
    least: float = 0.001,
) -> Node | None:
    """The tree of acts for a belief (H), each decided as `decide` does.

    None when isolating and no test tells anything.

    Parameters
    ----------
    seconds: for the whole tree; later acts are looked at one ahead only.
    least: turns less probable than this are not planned in detail: when restoring, repairs are
        tried in turn there; when isolating, the tree ends. The default is a judgement.

    >>> from diagnose.decision.problem import ANY, Repair, Test
    >>> look = Test("look", 2.0, ANY, np.eye(2))
    >>> hose = Repair("hose", 9.0, ANY, np.array([1.0, 0.0]), 1.0, ANY)
    >>> valve = Repair("valve", 19.0, ANY, np.array([0.0, 1.0]), 1.0, ANY)
    >>> problem = DecisionProblem(np.array([0.5, 0.5]), (look,), (hose, valve), np.zeros((1, 1)),
    ...     60.0)
    >>> tree = policy_tree(problem, problem.prior, 0)
    >>> tree.act.id, tree.minutes, [(one.probability, one.then.act.id) for one in tree.outcomes]
    ('look', 2.0, [(0.5, 'hose'), (0.5, 'valve')])
    """
    grown = _Tree(problem, goal, depth, width, time.perf_counter() + seconds, least)
    return grown.node(start(problem, belief, setup))


def tree_minutes(node: Node | None) -> float:
    """Expected minutes of a tree.

    >>> tree_minutes(Node(Act("test"), 2.0, (Outcome(0, 0.5, Node(Act("repair"), 10.0)),)))
    7.0
    """
    if node is None:
        return 0.0
    return node.minutes + sum(one.probability * tree_minutes(one.then) for one in node.outcomes)


@record
class _Tree:
    problem: DecisionProblem
    goal: Goal
    depth: int
    width: int
    end: float
    least: float

    def node(self, here: BeliefStates) -> Node | None:
        if here.mass[0] < self.least:
            return self.briefly(here)
        seconds = self.end - time.perf_counter()
        decision = decide_from(self.problem, here, self.goal, self.depth, self.width, seconds)
        if decision.act.kind == "stop":
            return None
        return self.grown(here, decision.act)

    def briefly(self, here: BeliefStates) -> Node | None:
        """The repairs in turn, without further tests.

        >>> from diagnose.decision.problem import ANY, Repair
        >>> hose = Repair("hose", 9.0, ANY, np.array([0.5]), 1.0, ANY)
        >>> problem = DecisionProblem(np.ones(1), (), (hose,), np.zeros((1, 1)), 60.0)
        >>> tree = _Tree(problem, "restore", 1, 8, np.inf, 0.001)
        >>> first = tree.briefly(start(problem, problem.prior, 0))
        >>> first.act.id, first.outcomes[0].probability, first.outcomes[1].then
        ('hose', 0.5, Node(act=Act(kind='last resort', index=-1, id=''), minutes=60.0, outcomes=()))
        """
        if self.goal == "isolate":
            return None
        order = plan_repairs(self.problem, here).order
        if not order:
            return Node(Act("last resort"), self.problem.last_resort)
        return self.repair(here, order[0], self.briefly)

    def grown(self, here: BeliefStates, act: Act) -> Node:
        if act.kind == "last resort":
            return Node(act, self.problem.last_resort)
        if act.kind == "repair":
            return self.repair(here, act.index, self.node)
        return self.test(here, act)

    def test(self, here: BeliefStates, act: Act) -> Node:
        after, _, outcome = tested(self.problem, here, np.array([act.index]))
        share = after.mass / after.mass.sum()
        outcomes = tuple(
            Outcome(int(outcome[i]), float(share[i]), self.node(after.at(slice(i, i + 1))))
            for i in range(len(after))
        )
        return Node(act, float(self.problem.test_minutes[here.setup[0], act.index]), outcomes)

    def repair(
        self, here: BeliefStates, number: int, then: Callable[[BeliefStates], Node | None]
    ) -> Node:
        failed = repaired(self.problem, here, np.array([number]))
        wrong = float(failed.mass[0] / here.mass[0])
        outcomes = [Outcome(WELL, 1 - wrong, None), Outcome(STILL_WRONG, wrong, None)]
        if wrong > NEGLIGIBLE_OUTCOME:
            outcomes[1] = Outcome(STILL_WRONG, wrong, then(failed))
        act = Act("repair", number, self.problem.repairs[number].id)
        likely = tuple(one for one in outcomes if one.probability > NEGLIGIBLE_OUTCOME)
        return Node(act, float(self.problem.repair_minutes[here.setup[0], number]), likely)
