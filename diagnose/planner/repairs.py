"""Remedies as candidates, and which of them each blame needs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from diagnose.arrays import Floats
from diagnose.diagnosis.causes import Cause
from diagnose.diagnosis.evidence import Evidence
from diagnose.knowledge.parts import Remedy, part_in_words
from diagnose.observations.events import Remedied
from diagnose.planner.candidates import Candidate
from diagnose.planner.value import ValueOfInformation
from diagnose.record import record
from diagnose.tolerances import REMEDIES_AT_ONCE, SAME_REMEDY_OFTEN


@record
class RepairOption:
    """A remedy and the chance that it clears what each blame stands for: (blames + 2)."""

    candidate: Candidate | None
    fixes: Floats


def repair_options(
    information: ValueOfInformation, failed: Sequence[str]
) -> Iterator[RepairOption]:
    """The remedies that some blame needs, each once; first the mere check again (no candidate).

    ``failed`` are the checks that the target's row failed: one of them proves each remedy.
    A false alarm, a spoiled run and what was cured already need nothing but a check that passes.
    Where a greater remedy clears a fault too, it is offered beside the lesser one.

    A new coil clears one that is open nearly always, and never a valve that leaks.

    >>> from diagnose import load_machine, plan, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> problem = plan(load_machine("mounted-6"), told).problem
    >>> _, *every = repair_options(problem.information, ["response"])
    >>> [coil] = [each for each in every if each.candidate.id == "replace-coil@row-6/valve"]
    >>> names = [f"row-6/valve:{mode}" for mode in ("coil_open", "leaking")]
    >>> [float(coil.fixes[problem.information.names.index(name)]) for name in names]
    [0.98, 0.0]
    """
    evidence = information.ranking.evidence
    found: dict[str, tuple[Candidate, Floats]] = {}
    nothing = np.zeros(len(information.names))
    for number, (cause, gone) in enumerate(zip(information.causes, information.gone, strict=True)):
        if gone or number == 0 or (cause and cause.remedy is None):
            nothing[number] = 1.0
        elif cause is not None:
            for remedy in remedies_of(evidence, cause):
                tried = evidence.epochs.tried(cause.part, cause.mode, remedy.id)
                if tried < SAME_REMEDY_OFTEN or remedy.goes_on:
                    one = remedy_candidate(evidence, cause, remedy, failed)
                    _, fixes = found.setdefault(one.id, (one, np.zeros(len(information.names))))
                    fixes[number] = remedy.fixes_after(tried)
    for id in _likeliest(information):
        if id in found:
            found[id][1][-2] = found[id][1].max()
    yield RepairOption(None, nothing)
    yield from (RepairOption(candidate, fixes) for candidate, fixes in found.values())


def _likeliest(information: ValueOfInformation) -> Sequence[str]:
    """The remedies likeliest to be needed when several causes act together and some is left."""
    evidence = information.ranking.evidence
    needed: dict[str, float] = {}
    for number, (cause, gone) in enumerate(zip(information.causes, information.gone, strict=True)):
        if cause is not None and cause.remedy is not None and not gone:
            remedy = remedy_id(evidence, cause, cause.remedy)
            state = information.beliefs.blamed[number - 1]
            needed[remedy] = needed.get(remedy, 0.0) + float(information.beliefs.together[0, state])
    return sorted(needed, key=lambda remedy: -needed[remedy])[:REMEDIES_AT_ONCE]


def remedies_of(evidence: Evidence, cause: Cause) -> list[Remedy]:
    """Every remedy that can clear a cause, its own first.

    >>> from diagnose import load_machine, rank, read_typed
    >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
    >>> [plug] = [cause for cause in found.causes if cause.id == "row-6/connector:open"]
    >>> [remedy.id for remedy in remedies_of(found.evidence, plug)]
    ['reseat-connector', 'clean-connector']
    """
    kind = evidence.model.machine.parts[cause.part]
    able = [one for one in kind.remedies if cause.mode in {m.id for m in kind.cleared_by(one.id)}]
    return sorted(able, key=lambda one: one != cause.remedy)


def remedy_id(evidence: Evidence, cause: Cause, remedy: Remedy) -> str:
    """``REMEDY@PART``, at the place where what is to be mended is by now.

    The coil that failed in row 6 is in row 5 by now.

    >>> from diagnose import load_machine, rank, read_typed
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF", "swap-coil@row-6=row-5"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> [coil] = [cause for cause in found.causes if cause.id == "row-6/valve:coil_open"]
    >>> remedy_id(found.evidence, coil, coil.remedy)
    'replace-coil@row-5/valve'
    """
    return f"{remedy.id}@{evidence.epochs.place_of(cause.part, cause.mode)}"


def proving_check(evidence: Evidence, part: str, remedy: Remedy, failed: Sequence[str]) -> str:
    """The failed check that best shows whether a remedy has worked.

    Of checks that show it alike it is the quickest one after the remedy.

    Air shows when the row is bled, a coil only when it is to respond.

    >>> from diagnose import load_machine, rank, read_typed
    >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
    >>> both, by_id = ("bleed", "response"), {cause.id: cause for cause in found.causes}
    >>> some = [by_id["row-6/air:trapped"], by_id["row-6/valve:coil_open"]]
    >>> [proving_check(found.evidence, each.part, each.remedy, both) for each in some]
    ['bleed', 'response']
    """
    knowledge = evidence.model.knowledge
    modes = evidence.model.machine.parts[part].cleared_by(remedy.id)

    def worth(check: str) -> tuple[float, float]:
        made = knowledge.checks[check]
        shown = sum(mode.prior * mode.shows.get(check, 0.0) for mode in modes)
        change = knowledge.change_minutes(remedy.setup, made.setup)
        return shown, -(change + made.set_up_minutes + made.minutes_per_row)

    return max(failed, key=worth)


def remedy_candidate(
    evidence: Evidence, cause: Cause, remedy: Remedy, failed: Sequence[str]
) -> Candidate:
    """A remedy of a cause as something to do next; one of the failed checks proves it.

    >>> from diagnose import load_machine, rank, read_typed
    >>> found = rank(load_machine("mounted-6"), read_typed(load_machine("mounted-6"), []))
    >>> [plug] = [cause for cause in found.causes if cause.id == "row-6/connector:open"]
    >>> act = remedy_candidate(found.evidence, plug, plug.remedy, ["response"])
    >>> act.id, act.minutes, act.check
    ('reseat-connector@row-6/connector', 5.0, 'response')
    """
    part = evidence.epochs.place_of(cause.part, cause.mode)
    machine = evidence.model.machine
    return Candidate(
        id=remedy_id(evidence, cause, remedy),
        kind="remedy",
        says=f"{part_in_words(part, machine.parts[part])}: {remedy.does}",
        rows=machine.rows_of(part),
        minutes=remedy.minutes_for(len(machine.rows_of(part))),
        outcomes=(),
        needs=remedy.needs,
        cautions=(remedy.caution,) if remedy.caution else (),
        check=proving_check(evidence, part, remedy, failed),
        part=part,
        setup=remedy.setup,
        ends=remedy.setup,
        wants=remedy.wants,
        helper=remedy.helper,
        work=Remedied(remedy.id, part),
        price=remedy.parts_price,
        qualified=remedy.qualified,
    )
