"""What nobody said of how a check was made, and what putting it right may take.

Oil that may have been cold is warmed before the check is run again, if it was: its minutes count
as likely as that is. Whatever is done, all well is proven by a check, so they count once.
"""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.observations.events import Remedied, Run
from diagnose.ranking.causes import Ranking
from diagnose.ranking.evidence import Evidence
from diagnose.retest.candidates import preparations


def putting_right_minutes(ranking: Ranking, check: str) -> float:
    """Expected minutes to put right what was bad, or may have been, when a check was last run.

    What is known to be lacking and lasts once it is there is left out: it is charged where it is
    entered, see `standing`.

    That the oil was cold or cool is as likely as told, and warming it takes 25 minutes.

    >>> from diagnose import load_machine, rank, read_typed
    >>> steady = ["engine=on", "moving=no", "supply=180bar", "bleed-hose=stowed"]
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", *steady])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> [cold] = [cause for cause in found.causes if cause.id == "circumstances/oil@1"]
    >>> round(putting_right_minutes(found, "response") - 25 * cold.probability, 6)
    0.0
    >>> told = read_typed(load_machine("mounted-6"), ["response=FFFFFF", *steady, "oil=54C"])
    >>> putting_right_minutes(rank(load_machine("mounted-6"), told), "response")
    0.0
    """
    known = sum(step.minutes for step in preparations(ranking.evidence, check))
    return sum(_doubtful(ranking, check), float(known))


def _doubtful(ranking: Ranking, check: str) -> Iterator[float]:
    """Per circumstance that nobody stated in the last run, its minutes as likely as it was bad."""
    evidence = ranking.evidence
    made = [run for run in evidence.case.runs if run.check == check] or list(evidence.case.runs)
    if not made:
        return
    setups, kinds = evidence.model.knowledge.setups, evidence.model.knowledge.circumstances
    for cause in ranking.causes:
        if cause.part == f"run-{made[-1].index}" and cause.prepare and kinds[cause.mode].ask:
            lasting = cause.prepare.setup
            if not lasting and cause.mode not in evidence.stated(made[-1]):
                yield cause.probability * cause.prepare.minutes
            elif lasting and not _known(evidence, made[-1], cause.mode, lasting):
                yield cause.probability * setups[lasting].enter_minutes


def _known(evidence: Evidence, since: Run, circumstance: str, lasting: str) -> bool:
    """Whether it is known if a lasting set-up is there: somebody stated it, or work wanted it."""
    if lasting in evidence.lacking:
        return True
    parts, done = evidence.model.machine.parts, list(evidence.case.in_order())
    for event in done[done.index(since) :]:
        if isinstance(event, Run) and circumstance in evidence.stated(event):
            return True
        if isinstance(event, Remedied) and lasting in parts[event.part].remedy(event.remedy).wants:
            return True
    return False
