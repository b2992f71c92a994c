"""Players of drills by program: the plan's policy and what is common practice."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence

from diagnose.errors import NoAnswer
from diagnose.knowledge.parts import PartKind, Remedy
from diagnose.machine.graph import Machine
from diagnose.observations.events import Remedied
from diagnose.observations.rows import standing_failures
from diagnose.observations.state import replay
from diagnose.projection import Projection
from diagnose.training.decision_point import DecisionPoint
from diagnose.training.game import Drill, Sitting, play
from diagnose.training.keyed_rng import KeyedRandom
from diagnose.training.moves import NONE, Move

MOST_MOVES = 60
"""Who has not finished by then gives up."""

Player = Callable[[Drill, DecisionPoint, int], Move]
"""What is done next, of a drill, at a moment, after so many moves."""


def decision_point_of(sitting: Sitting) -> DecisionPoint:
    """What is known after the moves of a sitting.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> shown = drill.revealed().failed.values()
    >>> decision_point_of(play(drill, [])).failed == tuple(sorted(frozenset().union(*shown)))
    True
    """
    view = Projection(replay(sitting.events), sitting.drill.knowledge)
    return DecisionPoint(view, len(sitting.drill.knowledge.checks))


def simulate(drill: Drill, player: Player) -> Sitting:
    """The drill as a player plays it, to the end.

    >>> from diagnose.training.share_code import DrillName
    >>> from diagnose.training.game import begin
    >>> from diagnose.knowledge.base import load_knowledge
    >>> drill = begin(DrillName("mounted-6", 1, 7), load_knowledge(learned=False))
    >>> runs = simulate(drill, lambda drill, point, number: Move("ask", "first-hookup"))
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
        return player(sitting.drill, decision_point_of(sitting), len(sitting.moves))
    except NoAnswer:
        return Move("give up")


def planner(_drill: Drill, point: DecisionPoint, _number: int) -> Move:
    """The planner's own next move."""
    return point.best


def practice(_drill: Drill, point: DecisionPoint, _number: int) -> Move:
    """Rerun the failed rows with their neighbours, then replace from the row valve upwards.

    What passes is proven by a full run; then whatever was mended last is declared.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.observations.entries import Opened, new_event
    >>> from diagnose.observations.events import Run
    >>> opened = new_event(Opened(case="20260301-a", machine="mounted-6"), "A")
    >>> run = new_event(Run.of("response", "PPFPPP"), "A")
    >>> point = DecisionPoint(Projection(replay([opened, run]), load_knowledge()), 1)
    >>> practice(None, point, 0).id
    'response@2-4'
    """
    case, machine = point.view.state.case, point.machine
    if point.job.to_check is not None:
        return Move("run", *point.job.to_check)
    failed = standing_failures(case)
    if not failed:
        return _proof(point) or Move("declare", _last_repaired(point))
    check, rows = worst(failed)
    if len(case.runs) == point.first:
        return Move("run", check, tuple(with_neighbours(rows, machine.rows)))
    tried = {(work.remedy, work.part) for work in case.work if isinstance(work, Remedied)}
    for remedy, part in upstream(machine, check, rows):
        if (remedy.id, part) not in tried:
            return Move("mend", remedy.id, part=part)
    return Move("give up")


def _proof(point: DecisionPoint) -> Move | None:
    """The first full run that is due."""
    return next((Move("run", check, rows) for check, rows in point.proof.missing), None)


def _last_repaired(point: DecisionPoint) -> str:
    """The commonest fault that the last remedy clears."""
    for work in reversed(point.view.state.case.work):
        if isinstance(work, Remedied):
            cleared = point.machine.parts[work.part].cleared_by(work.remedy)
            return f"{work.part}:{max(cleared, key=lambda mode: mode.prior).id}"
    return NONE


def at_random(drill: Drill, point: DecisionPoint, number: int) -> Move:
    """Anything that is about a failed row, or a full run, or a cause declared blindly."""
    named = drill.named
    luck = KeyedRandom("random player", named.machine, named.level, named.seed, number)
    offers = list(_anything(point))
    return offers[luck.pick([1.0] * len(offers))]


def _anything(point: DecisionPoint) -> Iterator[Move]:
    machine, known = point.machine, point.view.knowledge
    failed = point.failed or (1,)
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


Failed = Collection[tuple[str, int]]
"""Checks and rows that failed last."""


def worst(failed: Failed) -> tuple[str, list[int]]:
    """The check with most failures, and its failed rows; ties go to the quicker response check.

    >>> worst([("bleed", 3), ("response", 3), ("response", 4)])
    ('response', [3, 4])
    """
    by_check = {c: [row for check, row in failed if check == c] for c, _ in failed}
    check = max(by_check, key=lambda c: (len(by_check[c]), c == "response"))
    return check, by_check[check]


def with_neighbours(rows: Sequence[int], most: int) -> list[int]:
    """The rows and those on either side of each.

    >>> with_neighbours([1, 4], 6)
    [1, 2, 3, 4, 5]
    """
    near = {row + step for row in rows for step in (-1, 0, 1)}
    return [row for row in sorted(near) if 1 <= row <= most]


def upstream(machine: Machine, check: str, rows: Sequence[int]) -> Iterator[tuple[Remedy, str]]:
    """Remedies in the order of practice: shared by all failed rows first when a group failed.

    >>> from diagnose.machine.graph import load_machine
    >>> order = upstream(load_machine("mounted-6"), "response", [6])
    >>> [(remedy.id, part) for remedy, part in order][:2]
    [('replace-valve', 'row-6/valve'), ('replace-coil', 'row-6/valve')]
    """
    groups = [*machine.sections.values(), *machine.branches.values()]
    shared = [p for p in machine.ancestors(rows[0], check) if set(rows) <= set(machine.rows_of(p))]
    whole = any(set(group) <= set(rows) for group in groups)
    first = list(reversed([p for p in shared if len(machine.rows_of(p)) > 1])) if whole else []
    own = list(reversed([p for p in machine.ancestors(rows[0], check) if p not in first]))
    first_of_row = "/air" if check == "bleed" else "/valve"
    own.sort(key=lambda p: (len(machine.rows_of(p)), not p.endswith(first_of_row)))
    yield from remedies(machine, [*first, *own], set())


def remedies(
    machine: Machine, parts: Sequence[str], tried: Collection[tuple[str, str]]
) -> Iterator[tuple[Remedy, str]]:
    """Every remedy of the parts in order, the most thorough of each part first.

    >>> from diagnose.machine.graph import load_machine
    >>> part = "row-6/valve"
    >>> left = remedies(load_machine("mounted-6"), [part], [("replace-valve", part)])
    >>> [remedy.id for remedy, _ in left]  # the one clears both faults of the coil, the other dirt
    ['replace-coil', 'clean-valve']
    """
    for part in parts:
        kind: PartKind = machine.parts[part]
        for remedy in sorted(kind.remedies, key=lambda r: -len(kind.cleared_by(r.id))):
            if (remedy.id, part) not in tried:
                yield remedy, part
