"""Manual pages, written from the data: one for each check, circumstance, part kind and mode.

A page is plain Markdown text. Rules have their own module, `diagnose.ui.manual.otherpages`.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from diagnose.formats.model import CHANCE_WORDS
from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.checks import Check, Setup, Word
from diagnose.knowledge.circumstances import Circumstance, CircumstanceState, Prepare
from diagnose.knowledge.parts import Measurement, Mode, PartKind, Remedy, Swap
from diagnose.machine.planter import Machine
from diagnose.machine.tree import draw_tree
from diagnose.observations.rows import rows_in_words
from diagnose.ui.words import minutes_text, odds, sentence

REACHES = {
    "machine": "every row",
    "controller": "every row that its controller drives",
    "section": "every row of its section",
    "chain": "the row that it feeds and every row further along the chain",
    "branch": "every row of its wiring branch",
    "port": "the rows whose air leaves through it",
    "row": "its own row only",
}
PAGE_GROUPS = {
    "circumstances": "How a check was run: oil, pressure, engine, hose, movement.",
    "air": "Air caught in the oil: in one row, at a section's end or in the whole circuit.",
    "supply": "Oil parts of the whole machine.",
    "section": "Oil parts that several rows share.",
    "wiring": "Electric parts that several rows share.",
    "row": "Parts of one row, its connector and driver too.",
}


def page(title: str, *chapters: tuple[str, str]) -> str:
    """A page from its chapters; empty ones are left out.

    >>> print(page("oil", ("What it is", "Warm or cold."), ("Source", "")))
    # oil
    <BLANKLINE>
    ## What it is
    <BLANKLINE>
    Warm or cold.
    """
    parts = [f"# {title}", *(f"## {name}\n\n{text}" for name, text in chapters if text)]
    return "\n\n".join(parts)


def bulleted_lines(lines: Iterable[str]) -> str:
    r"""The lines as a Markdown list, each a sentence.

    >>> bulleted_lines(["engine off", "key out"])
    '- Engine off.\n- Key out.'
    """
    return "\n".join(f"- {sentence(line)}" for line in lines)


def kind_page(kind: PartKind) -> str:
    """What a part kind is, how it fails, what shows it and what is done about it.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> kind_page(load_knowledge().parts["valve"]).splitlines()[0]
    '# row valve (valve)'
    """
    return page(
        f"{kind.name} ({kind.id})",
        ("What it is", sentence(kind.says)),
        ("What it takes with it", f"A faulty one can fail {REACHES[kind.reach]}."),
        ("How it fails", "\n\n".join(_mode_text(mode) for mode in kind.modes)),
        ("What is done about it", bulleted_lines(map(_remedy_text, kind.remedies))),
        ("What can be measured or seen", bulleted_lines(map(_measurement_text, kind.measurements))),
        ("What can be swapped", bulleted_lines(map(_swap_text, kind.swaps))),
    )


def mode_page(kind: PartKind, mode: Mode) -> str:
    """One way to fail: what happens, how likely, what shows it, the remedy.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> valve = load_knowledge().parts["valve"]
    >>> mode_page(valve, valve.mode("coil_open")).splitlines()[0]
    '# row valve: coil open (valve:coil_open)'
    """
    return page(
        f"{kind.name}: {mode.name} ({kind.id}:{mode.id})",
        ("What happens", sentence(mode.says)),
        ("How likely", f"{odds(mode.prior)} when a case begins. Source: {mode.source}."),
        ("What shows it", bulleted_lines(_shown_by(mode.shows))),
        ("What is done about it", _remedy_text(kind.remedy(mode.remedy))),
        ("What tells it apart", bulleted_lines(_told_by(kind, mode))),
    )


def check_page(check: Check) -> str:
    """What a check is, how it is made, what it needs and what to beware of.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> check_page(load_knowledge().checks["bleed"]).splitlines()[0]
    '# bleed check (bleed)'
    """
    steps = "\n".join(f"{n}. {sentence(step)}" for n, step in enumerate(check.how, start=1))
    cost = (
        f"{minutes_text(check.set_up_minutes)} to set up, "
        f"{check.minutes_per_row:g} min for each row."
    )
    return page(
        f"{check.name} ({check.id})",
        ("What it is", sentence(check.says)),
        ("Take care", bulleted_lines(check.cautions)),
        ("What it needs", bulleted_lines(check.needs)),
        ("How it is made", steps),
        ("What it costs", cost),
        ("What it exercises", f"The {' and the '.join(check.exercises)} side of each row."),
        ("How often it is wrong", f"{odds(check.false_alarm)} sound rows is marked as failed."),
        ("Source", sentence(check.source)),
    )


def circumstance_page(circumstance: Circumstance) -> str:
    """What a circumstance is, what can be said of it, and what each state does to a check.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> circumstance_page(load_knowledge().circumstances["oil"]).splitlines()[0]
    '# oil temperature (oil)'
    """
    ask, prepare = circumstance.ask, circumstance.prepare
    return page(
        f"{circumstance.name} ({circumstance.id})",
        ("What it is", sentence(circumstance.says)),
        ("How it is told", _told(circumstance)),
        ("Its states", bulleted_lines(map(_state_text, circumstance.states))),
        ("How to find out", f"{ask.question} {minutes_text(ask.minutes)}." if ask else ""),
        (
            "How to put it right",
            f"{sentence(prepare.does)} {_prepare_cost(prepare)}." if prepare else "",
        ),
        ("Take care", bulleted_lines(prepare.cautions) if prepare else ""),
    )


def _prepare_cost(prepare: Prepare) -> str:
    """Its minutes, or where they stand when it is a set-up of its own."""
    if prepare.setup:
        return f"What that takes is said under `{prepare.setup}`"
    return minutes_text(prepare.minutes)


def group_page(group: str, knowledge: Knowledge) -> str:
    """What belongs to a group of causes.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> group_page("wiring", load_knowledge()).splitlines()[0]
    '# causes: wiring'
    """
    kinds = [kind for kind in knowledge.parts.values() if kind.group == group]
    asked = knowledge.of_scope("run").values() if group == "circumstances" else []
    members = [f"{kind.name} ({kind.id}): {kind.says}" for kind in kinds]
    members += [f"{each.name} ({each.id}): {each.says}" for each in asked]
    return page(
        f"causes: {group}",
        ("What it is", PAGE_GROUPS[group]),
        ("What is in it", bulleted_lines(members)),
    )


def _mode_text(mode: Mode) -> str:
    return (
        f"**{mode.name}** ({mode.id}), {odds(mode.prior)}. {sentence(mode.says)}\n\n"
        f"{bulleted_lines(_shown_by(mode.shows))}"
    )


def _shown_by(shows: Mapping[str, float]) -> Iterator[str]:
    for check, chance in shows.items():
        yield f"the {check} check {chance_words(chance)} shows it"


def chance_words(chance: float) -> str:
    """The word for a chance where there is one, else percent.

    >>> chance_words(0.98), chance_words(0.55)
    ('nearly always', 'in 55 % of cases')
    """
    words = {number: word for word, number in CHANCE_WORDS.items()}
    return words.get(chance, f"in {100 * chance:.0f} % of cases")


def cost_words(remedy: Remedy) -> str:
    """The minutes of a remedy, those of each row apart.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> cost_words(load_knowledge().parts["coupler"].remedy("reseat-coupler"))
    '8 min'
    """
    fixed, each = minutes_text(remedy.minutes), remedy.minutes_per_row
    return f"{fixed} and {minutes_text(each)} for each row" if each else fixed


def _remedy_text(remedy: Remedy) -> str:
    needs = f" Needs: {', '.join(remedy.needs)}." if remedy.needs else ""
    caution = f" Take care: {sentence(remedy.caution)}" if remedy.caution else ""
    return (
        f"{sentence(remedy.does)} {cost_words(remedy)}, "
        f"{chance_words(remedy.fixes)} enough, cost of parts {remedy.parts_price}.{needs}{caution}"
    )


def _swap_text(swap: Swap) -> str:
    caution = f" Take care: {sentence(swap.caution)}" if swap.caution else ""
    return f"{sentence(swap.does)} {minutes_text(swap.minutes)}.{caution}"


def _measurement_text(measurement: Measurement) -> str:
    needs = f" Needs: {', '.join(measurement.needs)}." if measurement.needs else ""
    caution = f" Take care: {sentence(measurement.caution)}" if measurement.caution else ""
    if measurement.safe_because:
        caution = f" No caution: {sentence(measurement.safe_because)}"
    return (
        f"`{measurement.id}`: {sentence(measurement.says)} "
        f"{minutes_text(measurement.minutes)}.{needs}{caution}"
    )


def _told_by(kind: PartKind, mode: Mode) -> Iterator[str]:
    for measurement in kind.measurements:
        for result in measurement.results:
            chance = result.sees.get(mode.id, result.sees.get(f"{kind.id}:{mode.id}"))
            if chance:
                yield f"`{measurement.id}` {chance_words(chance)} gives {result.id}: {result.says}"


def _told(circumstance: Circumstance) -> str:
    if circumstance.value == "none":
        return "Nobody can say; it is only reckoned with."
    example = {"temperature": "118F or 48C", "pressure": "900psi or 62bar"}
    value = example.get(circumstance.value) or " or ".join(circumstance.choices)
    return f"`{circumstance.id}=` with {value}."


def _state_text(state: CircumstanceState) -> str:
    effects = [
        f"makes the {check} check fail {chance_words(chance)}"
        for check, chance in state.shows.items()
        if chance
    ]
    says = f". {sentence(state.says)}" if state.says else "."
    return f"{state.name} ({state.id}): {' and '.join(effects) or 'does no harm'}{says}"


def machine_page(machine: Machine) -> str:
    """What hangs on what: sections, wiring, and the tree of all parts.

    >>> from diagnose.machine.graph import load_machine
    >>> machine_page(load_machine("mounted-6")).splitlines()[0]
    '# mounted-6: 6 rows'
    """
    oil = (f"{name}: {rows_in_words(rows)}" for name, rows in machine.sections.items())
    wiring = (f"{name}: {rows_in_words(rows)}" for name, rows in machine.branches.items())
    tree = "\n".join(f"    {line}".rstrip() for line in draw_tree(machine))
    return page(
        f"{machine.id}: {machine.rows} rows",
        ("What it is", sentence(machine.name)),
        ("Which rows share oil", bulleted_lines(oil)),
        ("Which rows share wiring", bulleted_lines(wiring)),
        ("What hangs on what", tree),
    )


def word_page(name: str, word: Word) -> str:
    """What a word means.

    >>> print(word_page("fold", Word(says="where a wing hinges")))
    # fold
    <BLANKLINE>
    ## What it means
    <BLANKLINE>
    Where a wing hinges.
    """
    return page(name, ("What it means", sentence(word.says)))


_Act = Measurement | Remedy | Swap


def act_page(kind: PartKind, act: _Act) -> str:
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
        ("What it is for", bulleted_lines(_purpose(kind, act))),
        ("What it takes", _cost(act)),
        ("What it needs", bulleted_lines(_needs(act))),
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
        ("Take care", bulleted_lines(setup.cautions)),
        ("Source", sentence(setup.source)),
    )


def acts_called(name: str, knowledge: Knowledge) -> Iterator[tuple[PartKind, _Act]]:
    """Every measurement, remedy and swap with this id, with the part kind that lists it.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [kind.id for kind, _ in acts_called("look-kink", load_knowledge())]
    ['chain-hose', 'row-hose', 'section-hose', 'supply-hose']
    """
    for kind in knowledge.parts.values():
        yield from ((kind, act) for act in acts_of(kind) if act.id == name)


def acts_of(kind: PartKind) -> tuple[_Act, ...]:
    """Everything that a part kind lists to be done.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> [act.id for act in acts_of(load_knowledge().parts["driver"])]
    ['look-driver', 'replace-driver', 'swap-driver']
    """
    return (*kind.measurements, *kind.remedies, *kind.swaps)


def _purpose(kind: PartKind, act: _Act) -> Iterator[str]:
    if isinstance(act, Measurement):
        yield from (f"{bad.id}: {sentence(bad.says)}" for bad in act.results)
    elif isinstance(act, Remedy):
        for mode in kind.cleared_by(act.id):
            yield f"{mode.name}: {chance_words(act.fixes)} enough"
    else:
        yield f"to see whether the failure goes along with: {', '.join(act.moves)}"


def _cost(act: _Act) -> str:
    cost = cost_words(act) if isinstance(act, Remedy) else minutes_text(act.minutes)
    minutes = f"{cost}, the machine being {act.setup}"
    if isinstance(act, Remedy):
        return f"{minutes}. Cost of parts: {act.parts_price}."
    return f"{minutes}."


def _needs(act: _Act) -> list[str]:
    tool = [f"a {act.tool}"] if isinstance(act, Measurement) and act.tool != "none" else []
    helper = ["a second person"] if act.helper else []
    hands = ["a qualified person, or the machine's manual"] if getattr(act, "qualified", 0) else []
    return [*hands, *helper, *tool, *act.needs]
