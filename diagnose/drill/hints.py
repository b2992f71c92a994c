"""Hints: first what to think of, then the planner's own act."""

from __future__ import annotations

from collections.abc import Mapping

from diagnose.advice import advice, cautions_of
from diagnose.drill.moment import Moment
from diagnose.drill.moves import Move
from diagnose.knowledge.parts import Measurement, Remedy, Swap

READ_WITH: Mapping[str, str] = {
    "none": "look",
    "meter": "measure volts or ohms",
    "gauge": "read a gauge",
    "display": "see what the controller has stored",
}
"""By tool, what somebody does who reads something with it."""


def worded(moment: Moment) -> str:
    """What to think of, without naming the act.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin, play
    >>> from diagnose.drill.players import moment_of
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(Named("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> row = moment_of(play(drill, [])).failed[0]
    >>> mended = play(drill, [Move("mend", "replace-coil", part=f"row-{row}/valve")])
    >>> worded(moment_of(mended))
    'work that no run has shown is a guess: run the check that shows it'
    """
    move = moment.best
    if moment.job.to_check is not None:
        return "work that no run has shown is a guess: run the check that shows it"
    if move.kind == "declare":
        return "it is proven; say what it was"
    if move.kind == "give up":
        return "what is left costs more than it is worth: somebody else may go on"
    if not moment.failed:
        return "nothing fails any more; what is missing to prove it?"
    return _about(moment, move)


def _about(moment: Moment, move: Move) -> str:
    match move.kind:
        case "ask":
            return "is every run to be believed? Somebody may know how it was made"
        case "run":
            wide = set(move.rows) - set(moment.failed)
            along = " with rows along that passed" if wide else ""
            return f"what would happen in another run? Run the {move.name} check{along}"
        case "swap":
            return f"let something of {_where(moment, move)} change places with its neighbour"
        case "read":
            tool = moment.machine.parts[move.part].measurement(move.name).tool
            return f"{READ_WITH[tool]} before you mend: {_where(moment, move)}"
        case _:
            return f"one cause is likely enough, and mending it is quick: {_where(moment, move)}"


def _where(moment: Moment, move: Move) -> str:
    rows = moment.machine.rows_of(move.part)
    return f"row {rows[0]}" if len(rows) == 1 else f"what {len(rows)} rows share"


def cautions(moment: Moment, move: Move) -> tuple[str, ...]:
    """What to beware of when a move is made on a machine."""
    act = moment.plan.act
    if act is not None and act.id == move.id:
        return tuple(cautions_of(act, advice(moment.ranking, (), [act])))
    return plain_cautions(moment, move)


def plain_cautions(moment: Moment, move: Move) -> tuple[str, ...]:
    """The cautions that the act itself carries.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin, play
    >>> from diagnose.drill.players import moment_of
    >>> from diagnose.knowledge.base import load_knowledge
    >>> moment = moment_of(play(begin(Named("mounted-6", 1, 7), load_knowledge()), []))
    >>> plain_cautions(moment, Move("read", "coil-resistance", part="row-2/valve"))
    ('A coil that was driven for long is hot.',)
    """
    known = moment.view.knowledge
    if move.kind == "run":
        return known.checks[move.name].cautions
    if not move.part:
        return ()
    kind = moment.machine.parts[move.part]
    works: list[Measurement | Remedy | Swap] = [*kind.measurements, *kind.remedies, *kind.swaps]
    return tuple(each.caution for each in works if each.id == move.name and each.caution)
