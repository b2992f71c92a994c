"""What a reading or an answer about the past would tell: each outcome together with each blame."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.causes import Ranking
from diagnose.diagnosis.evidence import Evidence, Observation
from diagnose.diagnosis.history import circumstances_behind
from diagnose.diagnosis.priors import known_prior
from diagnose.inference.explanation import ExplanationPosterior
from diagnose.inference.network import ABSENT, OPEN
from diagnose.inference.posterior import log_evidence
from diagnose.knowledge.circumstances import Circumstance
from diagnose.observations.result import Result
from diagnose.planner.candidates import Candidate, Outcome
from diagnose.record import record
from diagnose.rules.finding import RuleFinding

LEFT = "left"
"""The open finding that some cause of the target's failure is in the machine to this day."""


def what_is_left(evidence: Evidence, target: Observation) -> Observation:
    """Whether any of what can have brought about a failure is still there, as an open finding.

    What spoiled the run is over, and what a remedy cleared is gone. Only this is left of causes
    that acted together.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "replace-coil@row-6=done"])
    >>> evidence = rank(load_machine("mounted-6"), told).evidence
    >>> [target] = [seen for seen in evidence.results if seen.row == 6]
    >>> left = set(what_is_left(evidence, target).entries[0].tolist())
    >>> over = set(target.entries[0].tolist()) - left
    >>> modes = "coil_open", "coil_shorted"
    >>> cured = [evidence.epochs.cured("row-6/valve", mode)[0] for mode in modes]
    >>> sorted(over) == [*cured, *range(evidence.offsets[-2] + 1, evidence.offsets[-1])]
    True
    """
    states = target.entries[0]
    over = {each.state for each in evidence.epochs.cleared}
    there = (states < evidence.epochs.offsets[-1]) & ~np.isin(states, sorted(over))
    sure = np.full(int(there.sum()), -np.inf)
    return Observation(LEFT, OPEN, 0.0, target.site, (states[there], sure))


@record
class Beliefs:
    """The posterior of every state, given each blame of a finding.

    Several causes together are two blames: some of them is left, or they are all gone by now.

    Parameters
    ----------
    ranking: gives the posterior.
    explained: gives the blames.
    left: what is left of those of the target; `LEFT` is open there.
    """

    ranking: Ranking
    explained: ExplanationPosterior
    left: Observation

    @cached_property
    def blame(self) -> Floats:
        """(blames + 2) posterior of each blame, at the end those of several: left, and gone."""
        whole = self.explained.posterior
        gone = min(float(self.explained.joint({LEFT: False})[-1]), float(whole[-1]))
        return np.concatenate([whole[:-1], [whole[-1] - gone, gone]])

    @cached_property
    def idle(self) -> Floats:
        """(states) posterior of each state given that its variable is not to blame.

        What could have failed the row is not there as long as it is not to blame.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> beliefs = plan(load_machine("mounted-6"), told).problem.information.beliefs
        >>> coil = beliefs.ranking.evidence.model.flat("row-6/valve", "coil_open")
        >>> float(beliefs.idle[coil]), float(beliefs.idle[coil - 1]) > 0.99
        (0.0, True)
        """
        flat = np.where(self._active, 0.0, self.ranking.posterior.flat)
        return self._normal(flat)

    @cached_property
    def together(self) -> Floats:
        """(2, states) posterior of each state given several causes: some is left, all are gone.

        Of what is gone nothing is there any more.
        """
        several, there = self._several, np.zeros(len(self.idle), dtype=bool)
        there[self.left.entries[0]] = True
        gone = self._normal(np.where(there, 0.0, several))
        left, over = self.blame[-2:]
        share = over / (left + over) if over else 0.0
        rest = np.maximum(several - share * gone, 0.0)
        return np.stack([self._normal(rest), gone])

    @cached_property
    def _several(self) -> Floats:
        """(states) posterior of each state given that several causes are to blame."""
        blame = self.explained.posterior
        single = np.zeros_like(self.idle)
        single[self.blamed] = blame[1:-1]
        offsets = self.ranking.evidence.offsets
        mine = np.repeat(np.add.reduceat(single, offsets[:-1]), np.diff(offsets))
        rest = self.ranking.posterior.flat - single - (blame[:-1].sum() - mine) * self.idle
        return self._normal(np.maximum(rest, 0.0))

    def absent(self, seen: Observation) -> Floats:
        """(blames + 2) probability that a finding is absent, together with each blame.

        Of a coil that is not to blame one reading in 300 or so is open by mistake (0.003).

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> beliefs = plan(load_machine("mounted-6"), told).problem.information.beliefs
        >>> seen = beliefs.ranking.evidence.possible("row-6/valve", "coil-resistance", "open")
        >>> float(round(beliefs.absent(seen)[0] / beliefs.explained.posterior[0], 6))
        0.997
        """
        states, logs = seen.entries
        survival = np.ones_like(self.idle)
        survival[states] = np.exp(logs)
        offsets = self.ranking.evidence.offsets
        mean = np.add.reduceat(self.idle * survival, offsets[:-1])
        known = np.maximum(mean, 1e-300)
        own = survival[self.blamed] / known[self._owner]
        chances = np.concatenate([[1.0], own]) * known.prod()
        chances = np.concatenate([chances, self.together_survive(survival)]) * (1 - seen.leak)
        found: Floats = np.minimum(chances, 1.0) * self.blame
        return found

    def together_survive(self, survival: Floats) -> Floats:
        """(2) the chance that nothing shows given several causes, left or gone; survival (states).

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> beliefs = plan(load_machine("mounted-6"), told).problem.information.beliefs
        >>> survival = np.ones(len(beliefs.idle))
        >>> survival[beliefs.left.entries[0]] = 0.0
        >>> float(round(beliefs.together_survive(survival)[1], 9))
        1.0
        """
        offsets = self.ranking.evidence.offsets
        chances: Floats = np.add.reduceat(self.together * survival, offsets[:-1], axis=1).prod(
            axis=1
        )
        return chances

    @cached_property
    def _owner(self) -> np.typing.NDArray[np.intp]:
        names = {name: v for v, name in enumerate(self.ranking.evidence.variables)}
        causes = [blame.cause for blame in self.explained.explanations[1:]]
        return np.array([names[cause[0]] for cause in causes if cause], dtype=np.intp)

    @cached_property
    def blamed(self) -> np.typing.NDArray[np.intp]:
        """Flat state that each single blame stands for.

        >>> from diagnose import load_machine, plan, read_typed
        >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
        >>> information = plan(load_machine("mounted-6"), told).problem.information
        >>> coil = information.ranking.evidence.model.flat("row-6/valve", "coil_open")
        >>> information.names[1 + information.beliefs.blamed.tolist().index(coil)]
        'row-6/valve:coil_open'
        """
        causes = [blame.cause for blame in self.explained.explanations[1:]]
        within = np.array([cause[1] for cause in causes if cause], dtype=np.intp)
        flat: np.typing.NDArray[np.intp] = self.ranking.evidence.offsets[self._owner] + within
        return flat

    @cached_property
    def _active(self) -> np.typing.NDArray[np.bool_]:
        active = np.zeros(len(self.ranking.posterior.flat), dtype=bool)
        active[self.blamed] = True
        return active

    def _normal(self, weight: Floats) -> Floats:
        """Each variable's weights made to sum to 1; its posterior where they vanish."""
        offsets = self.ranking.evidence.offsets
        total = np.repeat(np.add.reduceat(weight, offsets[:-1]), np.diff(offsets))
        flat = self.ranking.posterior.flat
        normal: Floats = np.divide(weight, total, out=flat.copy(), where=total > 0)
        return normal


def reading_table(beliefs: Beliefs, ladder: Sequence[Observation]) -> list[Floats]:
    """(blames + 2) joint probabilities of each result, in order, and of "good" at the end.

    Step k of the ladder is absent when none of the first k + 1 results is there.

    The meter misses an open coil twice in 100, and then reads open by mistake 3 times in 1000.

    >>> from diagnose import load_machine, plan, read_typed
    >>> case = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> information = plan(load_machine("mounted-6"), case).problem.information
    >>> seen = information.ranking.evidence.possible("row-6/valve", "coil-resistance", "open")
    >>> opened, good = reading_table(information.beliefs, [seen])
    >>> coil = information.names.index("row-6/valve:coil_open")
    >>> float(round(good[coil] / (opened[coil] + good[coil]), 6))  # 0.02 · (1 - 0.003)
    0.01994
    """
    absent = [beliefs.blame, *map(beliefs.absent, ladder)]
    steps = [np.maximum(a - b, 0.0) for a, b in pairwise(absent)]
    return [*steps, absent[-1]]


def exact(ranking: Ranking, ladder: Sequence[Observation]) -> list[float]:
    """The exact probability of each result, in order, and of "good", by inferring again.

    A coil with chance p of being open reads open unless both it and a false alarm fail to show.

    >>> from diagnose import load_machine, rank, read_typed
    >>> case = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), case)
    >>> [p] = [one.probability for one in found.causes if one.id == "row-6/valve:coil_open"]
    >>> seen = found.evidence.possible("row-6/valve", "coil-resistance", "open")
    >>> abs(exact(found, [seen])[0] - (1 - (1 - 0.98 * p) * (1 - 0.003))) < 1e-7
    True
    """
    evidence = ranking.evidence
    absent = [1.0]
    for seen in ladder:
        ruled_out = Observation(seen.name, ABSENT, seen.leak, seen.site, seen.entries)
        network = evidence.network_of([*evidence.observed, ruled_out])
        absent.append(float(np.exp(log_evidence(network) - ranking.posterior.log_evidence)))
    return [*(a - b for a, b in pairwise(absent)), absent[-1]]


def history_questions(evidence: Evidence) -> Iterator[Candidate]:
    """A question about every circumstance of the past that nobody stated and that rules heed.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = ["first-hookup=no", "rehooked=no", "washed=no", "response=PPPPPF"]
    >>> told = read_typed(load_machine("mounted-6"), told)
    >>> [act.id for act in history_questions(rank(load_machine("mounted-6"), told).evidence)][:3]
    ['ask:milky-oil', 'ask:new-harness', 'ask:parts-replaced']
    """
    if not any(run.rows_with(Result.FAIL) for run in evidence.case.runs):
        return
    for circumstance in evidence.model.knowledge.of_scope("case").values():
        asked, known = circumstance.ask, evidence.case.history
        if asked is not None and circumstance.id not in known and _heeded(evidence, circumstance):
            yield Candidate(
                id=f"ask:{circumstance.id}",
                kind="ask",
                says=f"ask: {asked.question}",
                rows=(),
                minutes=asked.minutes,
                outcomes=tuple(Outcome(state.name, {}) for state in circumstance.states),
            )


def _heeded(evidence: Evidence, circumstance: Circumstance) -> bool:
    return any(circumstance.id in past.circumstances for past in evidence.model.pasts)


def with_answer(evidence: Evidence, circumstance: str, answer: str) -> Evidence:
    """What would be known had somebody told this of the machine's past.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["first-hookup=no"])
    >>> mice = with_answer(rank(load_machine("mounted-6"), told).evidence, "rodents", "yes")
    >>> dict(mice.case.history)
    {'first-hookup': 'no', 'rodents': 'yes'}
    >>> told = (one for one in mice.findings if circumstances_behind(one) == {"rodents"})
    >>> sorted(str(one.values["part_kind"]) for one in told)
    ['branch', 'branch', 'bus', 'connector']
    """
    told, findings = _told(evidence, evidence.findings, circumstance, answer)
    return replace(evidence, case=replace(evidence.case, history=told), findings=findings)


def _told(
    evidence: Evidence, known: Sequence[RuleFinding], circumstance: str, answer: str
) -> tuple[Mapping[str, str], tuple[RuleFinding, ...]]:
    """The history with one more answer, and what the rules would make of it and of the known."""
    told = {**evidence.case.history, circumstance: answer}
    findings = [one for one in known if circumstance not in circumstances_behind(one)]
    for past in evidence.model.pasts:
        if circumstance in past.circumstances and not past.unknown(told):
            findings = [
                one for one in findings if not circumstances_behind(one) & {*past.circumstances}
            ]
            findings += past.findings[tuple(told[name] for name in past.circumstances)]
    return told, tuple(findings)


def history_table(beliefs: Beliefs, candidate: Candidate) -> list[Floats]:
    """(blames + 2) joint probabilities of each answer with each blame.

    One planter in 20 has mice, which make a broken bus 5 times as likely: 5 in 24 broken ones.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["bleed=PPPPPP", "response=FFFFFF"])
    >>> information = plan(load_machine("mounted-6"), told).problem.information
    >>> asked = {act.id: act for act in history_questions(information.ranking.evidence)}
    >>> no, yes = history_table(information.beliefs, asked["ask:rodents"])
    >>> broken = information.names.index("power/bus:broken")
    >>> float(round(yes[broken] / (no[broken] + yes[broken]), 3))
    0.208
    """
    evidence = beliefs.ranking.evidence
    circumstance = evidence.model.knowledge.circumstances[history_of(candidate)]
    parts = _moved(beliefs, circumstance.id)
    known = [one for one in evidence.findings if one.kind == "prior"]
    before = _prior(beliefs, evidence.case.history, known, parts)
    weights = []
    for state in circumstance.states:
        prior = _prior(beliefs, *_told(evidence, known, circumstance.id, state.id), parts)
        with np.errstate(invalid="ignore"):
            single = np.nan_to_num(prior / before, nan=1.0)
        weights.append(state.prior_for("any") * np.array([1.0, *single, 1.0, 1.0]))
    total = np.sum(weights, axis=0)
    return [weight / total * beliefs.blame for weight in weights]


def _moved(beliefs: Beliefs, circumstance: str) -> frozenset[str]:
    """The parts that may be to blame and whose priors an answer can move."""
    model = beliefs.ranking.evidence.model
    pasts = (past for past in model.pasts if circumstance in past.circumstances)
    kinds = frozenset().union(*(past.kinds for past in pasts))
    blamed = (blame.cause[0] for blame in beliefs.explained.explanations if blame.cause)
    parts = model.machine.parts
    return frozenset(part for part in blamed if part in parts and parts[part].id in kinds)


def _prior(
    beliefs: Beliefs,
    told: Mapping[str, str],
    findings: Sequence[RuleFinding],
    parts: frozenset[str],
) -> Floats:
    """(blames) prior of what each single blame stands for; history moves no run's circumstances."""
    evidence = beliefs.ranking.evidence
    origins = evidence.epochs.prior(known_prior(evidence.model, told, findings, parts))
    runs = evidence.prior[len(origins) :]
    prior: Floats = np.concatenate([origins, runs])[beliefs.blamed]
    return prior


def history_of(candidate: Candidate) -> str:
    """The circumstance of the past that a question is about.

    >>> history_of(Candidate("ask:rodents", "ask", "", (), 1, ()))
    'rodents'
    """
    return candidate.id.removeprefix("ask:")
