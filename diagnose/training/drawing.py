"""Which faults and circumstances a drill hides: drawn from its seed, by the priors.

A draw that no row shows is no drill; the next one is taken until some row fails. So what is hidden
is as likely as it is given that rows failed, within the class that the level asks for.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import count

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.circumstances import Circumstance
from diagnose.machine.graph import Machine
from diagnose.record import record
from diagnose.training.keyed_rng import KeyedRandom
from diagnose.training.level import Level
from diagnose.training.share_code import DrillName
from diagnose.training.world import HiddenFault, World, draw_faults

States = Mapping[str, str]
"""States of circumstances that are not good, by circumstance."""


@record
class Hidden:
    """What nobody sees: the faults, and by check what was bad about its first run.

    ``failed`` are by check the rows that failed that run.
    """

    faults: frozenset[HiddenFault]
    states: Mapping[str, States]
    failed: Mapping[str, frozenset[int]]


def draw_fault(named: DrillName, machine: Machine, knowledge: Knowledge, level: Level) -> Hidden:
    """What the drill hides. The same drill always hides the same.

    >>> from diagnose.training.level import load_drills
    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, known = load_machine("mounted-6"), load_knowledge(learned=False)
    >>> hidden = draw_fault(DrillName("mounted-6", 1, 7), machine, known, load_drills().level(1))
    >>> [len(machine.rows_of(part)) for part, _ in hidden.faults], hidden.states  # one row's part
    ([1], {'bleed': {}, 'response': {}})
    """
    words = (named.machine, named.level, named.seed)
    for attempt in count():
        luck = KeyedRandom("draw", *words, attempt)
        faults = _faults(machine, level, luck)
        states = _states(knowledge, level, luck)
        world = World(machine, knowledge, set(faults), KeyedRandom("opening", *words, attempt))
        every = range(1, machine.rows + 1)
        failed = {check: world.run(check, every, states[check]) for check in knowledge.checks}
        if any(fails for shown in failed.values() for fails in shown.values()):
            kept = {
                c: frozenset(r for r, bad in shown.items() if bad) for c, shown in failed.items()
            }
            return Hidden(faults, states, kept)
    raise AssertionError("counting never ends")


def _faults(machine: Machine, level: Level, luck: KeyedRandom) -> frozenset[HiddenFault]:
    if luck.random() < level.sound:
        return frozenset()
    if level.how_many is None:
        return frozenset(draw_faults(machine, luck))
    found: dict[str, str] = {}
    while len(found) < level.how_many:
        part, mode = _one(machine, level, luck, set(found))
        found[part] = mode
    return frozenset(found.items())


def _one(machine: Machine, level: Level, luck: KeyedRandom, taken: set[str]) -> HiddenFault:
    """One fault of the reach that the level asks for, by the priors."""
    offers = [
        ((part, mode.id), mode.prior * level.favour.get(f"{kind.id}:{mode.id}", 1.0))
        for part, kind in machine.parts.items()
        for mode in kind.modes
        if part not in taken and _within(machine, part, level)
    ]
    return offers[luck.pick(weight for _, weight in offers)][0]


def _within(machine: Machine, part: str, level: Level) -> bool:
    shared = len(machine.rows_of(part)) > 1
    return level.reach == "any" or shared == (level.reach == "shared")


def _states(knowledge: Knowledge, level: Level, luck: KeyedRandom) -> Mapping[str, States]:
    """By check, what is bad about its first run."""
    checks = list(knowledge.checks)
    if level.circumstances == "drawn":
        return {check: _drawn(knowledge, check, luck) for check in checks}
    if level.circumstances == "misleading":
        return _misleading(knowledge, luck)
    return {check: {} for check in checks}


def visible_circumstances(knowledge: Knowledge) -> list[Circumstance]:
    """The circumstances of runs that somebody can see.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [each.id for each in visible_circumstances(load_knowledge(learned=False))]
    ['bleed-hose', 'engine', 'moving', 'oil', 'supply']
    """
    return [each for each in knowledge.of_scope("run").values() if each.value != "none"]


def _drawn(knowledge: Knowledge, check: str, luck: KeyedRandom) -> States:
    found: dict[str, str] = {}
    for each in visible_circumstances(knowledge):
        state = each.states[luck.pick(one.prior_for(check) for one in each.states)]
        if state.id != each.good_state(check).id:
            found[each.id] = state.id
    return found


def _misleading(knowledge: Knowledge, luck: KeyedRandom) -> Mapping[str, States]:
    """One bad state in one check's run, by its prior and its chance to make rows fail.

    What lasts, such as cold oil, is there in every run.
    """
    offers = [
        (check, each, state, state.prior_for(check) * state.shows.get(check, 0.0))
        for check in knowledge.checks
        for each in visible_circumstances(knowledge)
        for state in each.states
    ]
    check, circumstance, state, _ = offers[luck.pick(offer[-1] for offer in offers)]
    lasts = circumstance.prepare is not None and circumstance.prepare.setup is not None
    bad = {circumstance.id: state.id}
    return {each: bad if lasts or each == check else {} for each in knowledge.checks}
