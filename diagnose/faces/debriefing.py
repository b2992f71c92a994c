"""How a drill that was played is talked over: minutes, costly moves, beliefs, truth, lesson."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, RenderableType
from rich.text import Text

from diagnose.drill.score import Debriefing, cause_in_words
from diagnose.drill.skills import SKILLS
from diagnose.faces.terminal import bullets
from diagnose.faces.words import minutes_text, percent, sentence

MOST_COSTLY = 3
WIDE_MOVE, WIDE_BAR = 38, 20


def debriefing_text(done: Debriefing, console: Console) -> Iterator[RenderableType]:
    """The debriefing, part by part, for 80 columns."""
    yield Text(f"{done.marks} marks of 100", style="title")
    yield from bullets(_summary(done))
    yield Text("\nMoves that cost most", style="title")
    yield from bullets(_costly(done) or ["none: no move lost expected minutes"])
    yield Text("\nBelief in what was true, after each move", style="title")
    yield from _chart(done, console.options.ascii_only)
    yield Text("\nSkills", style="title")
    yield from bullets(_skills(done))
    yield Text(f"\nLesson: {done.drill.level.lesson}")


def _summary(done: Debriefing) -> Iterator[str]:
    truth = " and ".join(cause_in_words(done.drill, each) for each in done.truth or ("none",))
    yield f"it was: {truth}"
    bad = {
        name: s for states in done.drill.revealed().states.values() for name, s in states.items()
    }
    known = done.drill.knowledge.circumstances
    for name, state in bad.items():
        yield f"and a first run was made with {known[name].name}: {known[name].state(state).name}"
    said = " and ".join(cause_in_words(done.drill, each) for each in done.declared or ("none",))
    last = done.sitting.moves[-1]
    if last.kind == "declare":
        yield f"you declared: {said}. {'Right' if done.right else 'Not so'}"
    yield (
        f"{minutes_text(done.sitting.minutes)} of work, {minutes_text(done.sitting.cost)} with "
        f"parts; the planner needs {minutes_text(done.planned.cost)} on this fault, whoever knows "
        f"it {minutes_text(done.best_possible)}"
    )
    yield (
        f"marks count decisions, not luck: {minutes_text(sum(done.losses))} of expected minutes "
        f"were lost; the job was worth {minutes_text(done.expected)}"
    )


def _costly(done: Debriefing) -> list[str]:
    worst = sorted(enumerate(done.verdicts, 1), key=lambda each: -each[1].loss)[:MOST_COSTLY]
    return [
        f"{number}. {each.step.move.id} lost {minutes_text(each.loss)}: {each.reason}. "
        f"Better: {each.instead}"
        for number, each in worst
        if each.reason
    ]


def _chart(done: Debriefing, plain: bool) -> Iterator[Text]:
    """A line a move: how likely the truth was held to be, and whether it led."""
    full, empty = ("#", ".") if plain else ("█", "░")
    truth = set(done.truth)
    for number, each in enumerate(done.verdicts, 1):
        chance = each.truth
        if chance is None:
            yield Text(f"{number:>3} {each.step.move.id}: not judged, too many runs had failed")
            continue
        bar = round(WIDE_BAR * chance)
        leads = " leads" if each.leading in truth else ""
        name = each.step.move.id
        name = name if len(name) <= WIDE_MOVE else f"{name[: WIDE_MOVE - 1]}~"
        drawn = full * bar + empty * (WIDE_BAR - bar)
        yield Text(f"{number:>3} {name:<{WIDE_MOVE}} {drawn} {percent(chance):>8}{leads}")


def _skills(done: Debriefing) -> Iterator[str]:
    for skill, (taken, of) in done.skills.items():
        yield f"{taken} of {of}: {sentence(SKILLS[skill])}"
