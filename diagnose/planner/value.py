"""What each candidate would tell about who is to blame for one failure.

The blame is a complete partition: chance alone, one single cause, or several together, of which
some is left or all are gone by now. Where outcomes are lumped together ("anything else"), the
bits are those of the outcomes as they are told, a lower bound for the finer ones.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.causes import Cause, Ranking
from diagnose.diagnosis.evidence import Evidence, Observation
from diagnose.inference.explanation import ExplanationPosterior
from diagnose.planner.candidates import Candidate, open_reruns
from diagnose.planner.question_outcomes import (
    LEFT,
    Beliefs,
    history_table,
    reading_table,
    what_is_left,
)
from diagnose.planner.swaps import swap_table
from diagnose.record import record
from diagnose.tolerances import RARE

CHANCE, SEVERAL = "chance", "several"
"""What may be to blame besides single causes: a false alarm, or several causes together."""


ELSE = "anything else"
"""What a rerun's outcomes leave over."""


@record
class Weighed:
    """A candidate's outcomes, each with its joint probability with every blame: (blames + 2)."""

    labels: tuple[str, ...]
    table: Floats

    @cached_property
    def bits(self) -> float:
        """What the outcome tells about the blame.

        >>> Weighed(("passes", "fails again"), np.array([[0.25, 0.25], [0.25, 0.25]])).bits
        0.0
        >>> Weighed(("passes", "fails again"), np.array([[0.5, 0.0], [0.0, 0.5]])).bits
        1.0
        """
        return mutual_information(self.table)


class ValueOfInformation:
    """Weighs candidates for one target; the checks may be made again on some rows.

    ``causes`` are those that the blames stand for, None for chance (which is first) and for
    several, left or gone (which are last); ``names`` their ids, or `CHANCE` and twice `SEVERAL`.
    """

    def __init__(self, ranking: Ranking, target: Observation, rows: Iterable[int]) -> None:
        evidence = ranking.evidence
        again, left = open_reruns(evidence, rows), what_is_left(evidence, target)
        network = evidence.network_of([*evidence.observed, *again, left])
        self.ranking, self.target = ranking, target
        self.explained = ExplanationPosterior(network, target.name, ranking.posterior)
        self.beliefs = Beliefs(ranking, self.explained, left)
        self.causes = _causes(ranking, self.beliefs.blamed.tolist())
        self.names = [CHANCE, *(cause.id for cause in self.causes if cause), SEVERAL, SEVERAL]
        self.circumstances = _rerun_circumstances(evidence)

    @cached_property
    def gone(self) -> tuple[bool, ...]:
        """(blames + 2) whether the cause that a blame stands for was cured since.

        A new coil was put in and nothing was checked since: what it cleared is to blame no more.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = ["response=PPPPPF", "replace-coil@row-6=done"]
        >>> told = read_typed(load_machine("mounted-6"), told)
        >>> information = plan(load_machine("mounted-6"), told).problem.information
        >>> [name for name, gone in zip(information.names, information.gone, strict=True) if gone]
        ['row-6/valve:coil_open', 'row-6/valve:coil_shorted', 'several']
        """
        pairs = zip(self.causes[1:-2], self.beliefs.blamed.tolist(), strict=True)
        single = (cause is not None and state in cause.cured_states for cause, state in pairs)
        return False, *single, False, True

    @property
    def blame(self) -> Floats:
        """(blames + 2) posterior of each blame.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> information = plan(load_machine("mounted-6"), told).problem.information
        >>> information.names[0], information.names[-1], float(round(information.blame.sum(), 3))
        ('chance', 'several', 1.0)
        """
        return self.beliefs.blame

    def weigh(self, candidate: Candidate) -> Weighed:
        """A candidate's outcomes with their joint probabilities.

        An open coil reads open 98 times in 100, or by mistake 3 times in 1000 of the rest.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> problem = plan(load_machine("mounted-6"), told).problem
        >>> [act] = [act for act, _ in problem.tests if act.id == "coil-resistance@row-6/valve"]
        >>> opened = problem.information.names.index("row-6/valve:coil_open")
        >>> chances = problem.information.weigh(act).table[:, opened]
        >>> float(round(chances[0] / chances.sum(), 5))
        0.98006
        """
        labels = [outcome.result for outcome in candidate.outcomes]
        if candidate.kind == "swap":
            table = swap_table(self.beliefs, self.target, candidate)
        elif candidate.ladder:
            table = reading_table(self.beliefs, candidate.ladder)
        elif candidate.kind == "ask":
            table = history_table(self.beliefs, candidate)
        else:
            table = list(self._rerun([outcome.event for outcome in candidate.outcomes]))
            rest = np.maximum(self.blame - sum(table), 0.0)
            if rest.sum() > RARE:
                table.append(rest)
                labels.append(ELSE)
        return Weighed(tuple(labels), np.stack(table))

    def _rerun(self, events: Sequence[Mapping[str, bool]]) -> Floats:
        """(outcomes, blames + 2) joint probabilities, over the rerun's own circumstances."""
        whole = self._mixed(events)
        gone = self._mixed([{**event, LEFT: False} for event in events])[:, -1:]
        gone = np.minimum(gone, whole[:, -1:])
        return np.concatenate([whole[:, :-1], whole[:, -1:] - gone, gone], axis=1)

    def _mixed(self, events: Sequence[Mapping[str, bool]]) -> Floats:
        asked = [(event, survival) for event in events for _, survival in self.circumstances]
        chances = np.array([chance for chance, _ in self.circumstances])
        joint = self.explained.joints(asked).reshape(len(events), len(chances), -1)
        mixed: Floats = np.einsum("ecb,c->eb", joint, chances)
        return mixed


def _causes(ranking: Ranking, blamed: Sequence[int]) -> tuple[Cause | None, ...]:
    """The causes that flat states stand for, between those that stand for no single one."""
    wanted = set(blamed)
    found: dict[int, Cause] = {}
    for cause in ranking.causes:
        if not (wanted.isdisjoint(cause.states) and wanted.isdisjoint(cause.cured_states)):
            found |= dict.fromkeys((*cause.states, *cause.cured_states), cause)
    return None, *(found[state] for state in blamed), None, None


def _rerun_circumstances(evidence: Evidence) -> tuple[tuple[float, float], ...]:
    """(probability, survival) of the new run's own circumstances, put right as well as can be."""
    upset = evidence.model.knowledge.circumstances.get("upset")
    spoiled = [
        (state.prior_for("response"), 1 - state.shows["response"])
        for state in (upset.states if upset else ())
        if state.shows.get("response")
    ]
    return ((1 - sum(p for p, _ in spoiled), 1.0), *spoiled)


def mutual_information(joint: Floats) -> float:
    """Bits that the row of a joint table tells about its column (Shannon 1948).

    >>> mutual_information(np.array([[0.5, 0.0], [0.0, 0.5]]))
    1.0
    """
    joint = joint / joint.sum()
    apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
    there = (joint > 0) & (apart > 0)
    return max(float((joint[there] * np.log2(joint[there] / apart[there])).sum()), 0.0)
