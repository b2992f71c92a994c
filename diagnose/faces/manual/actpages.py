"""Pages about what can be done to a part, and about the set-ups that work wants."""

from __future__ import annotations

from collections.abc import Iterator

from diagnose.faces.manual.pages import bullets, chance_words, cost_words, page
from diagnose.faces.words import minutes_text, sentence
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import Measurement, PartKind, Remedy, Swap
from diagnose.knowledge.setups import Setup

Act = Measurement | Remedy | Swap


def act_page(kind: PartKind, act: Act) -> str:
    """What one measurement, look, remedy or swap of a part kind is, and what it wants.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> valve = load_knowledge().parts["valve"]
    >>> act_page(valve, valve.swap("swap-coil")).splitlines()[0]
    '# row valve: swap-coil'
    """
    says = act.says if isinstance(act, Measurement) else act.does
    return page(
        f"{kind.name}: {act.id}",
        ("What is done", sentence(says)),
        ("What it is for", bullets(_purpose(kind, act))),
        ("What it takes", _cost(act)),
        ("What it needs", bullets(_needs(act))),
        ("Take care", sentence(act.caution) if act.caution else ""),
        ("Source", sentence(act.source)),
    )


def setup_page(setup: Setup) -> str:
    """What a set-up is, and what it costs to get there and back.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> setup_page(load_knowledge().setups["bleeding"]).splitlines()[0]
    '# set-up: bleeding'
    """
    ways = (
        f"{minutes_text(setup.enter_minutes)} from the parked machine, "
        f"{minutes_text(setup.leave_minutes)} back to it."
    )
    if setup.lasting:
        ways = f"{minutes_text(setup.enter_minutes)}, once: it lasts, whatever else is done."
    free = "Every other set-up is reached from here."
    return page(
        f"set-up: {setup.name}" + (f" ({setup.id})" if setup.id != setup.name else ""),
        ("What it is", sentence(setup.says)),
        ("How to get there", ways if setup.enter_minutes else free),
        ("Take care", bullets(setup.cautions)),
        ("Source", sentence(setup.source)),
    )


def acts_called(name: str, knowledge: Knowledge) -> Iterator[tuple[PartKind, Act]]:
    """Every measurement, remedy and swap with this id, with the part kind that lists it.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [kind.id for kind, _ in acts_called("look-kink", load_knowledge())]
    ['chain-hose', 'row-hose', 'section-hose', 'supply-hose']
    """
    for kind in knowledge.parts.values():
        yield from ((kind, act) for act in acts_of(kind) if act.id == name)


def acts_of(kind: PartKind) -> tuple[Act, ...]:
    """Everything that a part kind lists to be done.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [act.id for act in acts_of(load_knowledge().parts["driver"])]
    ['look-driver', 'replace-driver', 'swap-driver']
    """
    return (*kind.measurements, *kind.remedies, *kind.swaps)


def _purpose(kind: PartKind, act: Act) -> Iterator[str]:
    if isinstance(act, Measurement):
        yield from (f"{bad.id}: {sentence(bad.says)}" for bad in act.results)
    elif isinstance(act, Remedy):
        for mode in kind.cleared_by(act.id):
            yield f"{mode.name}: {chance_words(act.fixes)} enough"
    else:
        yield f"to see whether the failure goes along with: {', '.join(act.moves)}"


def _cost(act: Act) -> str:
    cost = cost_words(act) if isinstance(act, Remedy) else minutes_text(act.minutes)
    minutes = f"{cost}, the machine being {act.setup}"
    if isinstance(act, Remedy):
        return f"{minutes}. Cost of parts: {act.parts_price}."
    return f"{minutes}."


def _needs(act: Act) -> list[str]:
    tool = [f"a {act.tool}"] if isinstance(act, Measurement) and act.tool != "none" else []
    helper = ["a second person"] if act.helper else []
    hands = ["a qualified person, or the machine's manual"] if getattr(act, "qualified", 0) else []
    return [*hands, *helper, *tool, *act.needs]
