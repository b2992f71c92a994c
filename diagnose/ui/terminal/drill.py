"""A drill on a terminal: what is talked over when it was played, and somebody's progress."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console, RenderableType
from rich.text import Text

from diagnose.reports.forms.training import ProgressReport, SkillReport
from diagnose.training.score import Debriefing, cause_in_words
from diagnose.training.skills import SKILLS
from diagnose.ui.streams import visible
from diagnose.ui.terminal.ranking import bullets
from diagnose.ui.words import how_many, minutes_text, percent, sentence

MOST_COSTLY = 3
WIDE_MOVE, WIDE_BELIEF = 38, 20
WIDE_COUNT, WIDE_BAR = 12, 32


MEANING = (
    "The mark is how likely the next opportunity is to be taken; with 90 % the true chance lies on "
    "the thick line. Each opportunity is one trial from a Beta(1/2, 1/2) prior (Jeffreys 1946; "
    "interval: Brown, Cai & DasGupta 2001). Old ones fade, so that about the last 20 of a skill "
    "count (judgement). Weakest is what may be lowest: whose line begins lowest, seen or not."
)


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
        bar = round(WIDE_BELIEF * chance)
        leads = " leads" if each.leading in truth else ""
        name = each.step.move.id
        name = name if len(name) <= WIDE_MOVE else f"{name[: WIDE_MOVE - 1]}~"
        drawn = full * bar + empty * (WIDE_BELIEF - bar)
        yield Text(f"{number:>3} {name:<{WIDE_MOVE}} {drawn} {percent(chance):>8}{leads}")


def _skills(done: Debriefing) -> Iterator[str]:
    for skill, (taken, of) in done.skills.items():
        yield f"{taken} of {of}: {sentence(SKILLS[skill])}"


def progress_text(report: ProgressReport, console: Console) -> Iterator[RenderableType]:
    """A record for people, part by part, for 80 columns.

    >>> from diagnose.training.level import load_drills
    >>> from diagnose.reports.training import build_progress_report
    >>> report = build_progress_report("Ann", [], load_drills())
    >>> [text.plain for text in progress_text(report, Console())][:3:2]
    ['Ann: 0 finished drills', '  0 of 0     not known yet: it came up fewer than 3 times']
    """
    many = how_many(len(report.drills), "finished drill")
    yield Text(f"{visible(report.who)}: {many}" if report.who else many, style="title")
    for skill in report.skills:
        yield Text(sentence(skill.says))
        yield Text(_line(skill, report.model.fewest, console.options.ascii_only))
    yield Text(f"\n{MEANING}", style="quiet")
    ahead = report.next
    yield Text(f"\nNext: level {ahead.level}, {ahead.name}", style="title")
    yield Text(f"{sentence(ahead.why)} rowfault drill begins it.")


def _line(skill: SkillReport, fewest: int, plain: bool) -> str:
    count = f"  {skill.taken} of {skill.of}".ljust(WIDE_COUNT)
    if skill.mean is None or skill.low is None or skill.high is None:
        return f"{count} not known yet: it came up fewer than {fewest} times"
    mean, low, high = skill.mean, skill.low, skill.high
    line = bar(low, mean, high, plain)
    return f"{count} {line} {percent(mean)} ({percent(low)} to {percent(high)})"


def bar(low: float, mean: float, high: float, plain: bool) -> str:
    """A line from 0 to 1, thick from ``low`` to ``high``, with a mark at ``mean``.

    >>> bar(0.25, 0.5, 0.74, plain=True)
    '........========O=======........'
    """
    thin, thick, mark = ".=O" if plain else "·━●"
    first, at, last = (min(int(WIDE_BAR * chance), WIDE_BAR - 1) for chance in (low, mean, high))
    cells = [thick if first <= cell <= last else thin for cell in range(WIDE_BAR)]
    return "".join([*cells[:at], mark, *cells[at + 1 :]])


def kept_in_words(done: Debriefing) -> str:
    """How the skills of a drill went, in one sentence.

    >>> from types import SimpleNamespace
    >>> kept_in_words(SimpleNamespace(skills={"narrow": (2, 3)}))
    'kept in your record: narrow 2 of 3. See rowfault drill --progress'
    """
    went = ", ".join(f"{skill} {taken} of {of}" for skill, (taken, of) in done.skills.items())
    return f"kept in your record: {went or 'no skill came up'}. See rowfault drill --progress"
