"""Who plays when nobody does: the planner, practice without it, and chance."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from diagnose.drill.game import Drill, Sitting, play
from diagnose.drill.luck import Luck
from diagnose.drill.moment import Moment
from diagnose.drill.moves import NONE, Move
from diagnose.drill.practice import upstream, with_neighbours, worst
from diagnose.errors import NoAnswer
from diagnose.machine.graph import Machine
from diagnose.observations.events import Remedied
from diagnose.observations.rows import standing_failures
from diagnose.observations.state import replay
from diagnose.projection import Projection

MOST_MOVES = 60
"""Who has not finished by then gives up."""

Player = Callable[[Drill, Moment, int], Move]
"""What is done next, of a drill, at a moment, after so many moves."""


def moment_of(sitting: Sitting) -> Moment:
    """What is known after the moves of a sitting.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(Named("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> shown = drill.revealed().failed.values()
    >>> moment_of(play(drill, [])).failed == tuple(sorted(frozenset().union(*shown)))
    True
    """
    view = Projection(replay(sitting.events), sitting.drill.knowledge)
    return Moment(view, len(sitting.drill.knowledge.checks))


def played(drill: Drill, player: Player) -> Sitting:
    """The drill as a player plays it, to the end.

    >>> from diagnose.drill.code import Named
    >>> from diagnose.drill.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(Named("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> runs = played(drill, lambda drill, moment, number: Move("ask", "first-hookup"))
    >>> len(runs.moves), runs.moves[-1].id  # it goes on until there is no patience left
    (61, 'give-up')
    """
    moves: list[Move] = []
    sitting = play(drill, moves)
    while not sitting.over:
        done = len(moves) >= MOST_MOVES
        moves.append(Move("give up") if done else _next(player, sitting))
        sitting = play(drill, moves)
    return sitting


def _next(player: Player, sitting: Sitting) -> Move:
    """What a player does; whoever cannot make anything of so many failures gives up."""
    try:
        return player(sitting.drill, moment_of(sitting), len(sitting.moves))
    except NoAnswer:
        return Move("give up")


def planner(_drill: Drill, moment: Moment, _number: int) -> Move:
    """The planner's own next move."""
    return moment.best


def practice(_drill: Drill, moment: Moment, _number: int) -> Move:
    """Rerun the failed rows with their neighbours, then replace from the row valve upwards.

    What passes is proven by a full run; then whatever was mended last is declared.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Run
    >>> opened = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("response", "PPFPPP"), "A")
    >>> moment = Moment(Projection(replay([opened, run]), load_knowledge()), 1)
    >>> practice(None, moment, 0).id
    'response@2-4'
    """
    case, machine = moment.view.state.case, moment.machine
    if moment.job.to_check is not None:
        return Move("run", *moment.job.to_check)
    failed = standing_failures(case)
    if not failed:
        return _proof(moment) or Move("declare", _last_mended(moment))
    check, rows = worst(failed)
    if len(case.runs) == moment.first:
        return Move("run", check, tuple(with_neighbours(rows, machine.rows)))
    tried = {(work.remedy, work.part) for work in case.work if isinstance(work, Remedied)}
    for remedy, part in upstream(machine, check, rows):
        if (remedy.id, part) not in tried:
            return Move("mend", remedy.id, part=part)
    return Move("give up")


def _proof(moment: Moment) -> Move | None:
    """The first full run that is due."""
    return next((Move("run", check, rows) for check, rows in moment.proof.missing), None)


def _last_mended(moment: Moment) -> str:
    """The commonest fault that the last remedy clears."""
    for work in reversed(moment.view.state.case.work):
        if isinstance(work, Remedied):
            cleared = moment.machine.parts[work.part].cleared_by(work.remedy)
            return f"{work.part}:{max(cleared, key=lambda mode: mode.prior).id}"
    return NONE


def at_random(drill: Drill, moment: Moment, number: int) -> Move:
    """Anything that is about a failed row, or a full run, or a cause declared blindly."""
    named = drill.named
    luck = Luck("random player", named.machine, named.level, named.seed, number)
    offers = list(_anything(moment))
    return offers[luck.pick([1.0] * len(offers))]


def _anything(moment: Moment) -> Iterator[Move]:
    machine, known = moment.machine, moment.view.knowledge
    failed = moment.failed or (1,)
    every = tuple(range(1, machine.rows + 1))
    for check in known.checks:
        yield from (Move("run", check, rows) for rows in (failed, failed[:1], every))
    row = failed[0]
    above = dict.fromkeys(p for check in known.checks for p in machine.ancestors(row, check))
    for part in above:
        yield from _at(machine, part)
    part = list(above)[-1]
    yield Move("declare", f"{part}:{machine.parts[part].modes[0].id}")
    yield Move("declare", NONE)


def _at(machine: Machine, part: str) -> Iterator[Move]:
    kind = machine.parts[part]
    yield from (Move("read", each.id, part=part) for each in kind.measurements)
    yield from (Move("mend", each.id, part=part) for each in kind.remedies)


PLAYERS: Mapping[str, Player] = {"planner": planner, "practice": practice, "random": at_random}
