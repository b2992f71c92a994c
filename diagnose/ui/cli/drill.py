"""``rowfault drill``: practice on hidden faults."""

from __future__ import annotations

import secrets
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import click
from rich.console import Group, RenderableType
from rich.text import Text

from diagnose.errors import RowfaultError, Unavailable, on_one_line, quoted
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.checks import load_words
from diagnose.observations.entries import Skipped, Statement
from diagnose.observations.events import Run
from diagnose.observations.rows import pattern_in_words
from diagnose.observations.text import in_words
from diagnose.planner.advice import DEFERRAL
from diagnose.record import record
from diagnose.reports.forms.training import DrillReport, DrillsReport
from diagnose.reports.training import build_drill_report, build_progress_report
from diagnose.rules.loading import load_rules
from diagnose.training.decision_point import DecisionPoint, cautions, plain_cautions, worded
from diagnose.training.game import Drill, DrillStep, begin, play
from diagnose.training.level import load_drills
from diagnose.training.moves import Move
from diagnose.training.policies import PLAYERS, simulate
from diagnose.training.progress import FIRST_LEVEL, advised
from diagnose.training.record import Finished
from diagnose.training.score import Debriefing, Judge, finished
from diagnose.training.share_code import MOST_SEEDS, DrillName, encode_drill, read
from diagnose.ui.cli.completion import suggest_machines
from diagnose.ui.cli.options import NAME_OR_PATH, READABLE, WORDS, Words, colour_option
from diagnose.ui.cli.who import login, opened_casebook
from diagnose.ui.lazy import Command
from diagnose.ui.manual.catalogue import Catalogue
from diagnose.ui.manual.lookup import looked_up
from diagnose.ui.terminal.asking import Asker, asker
from diagnose.ui.terminal.bench import Bench
from diagnose.ui.terminal.drill import debriefing_text, kept_in_words, progress_text
from diagnose.ui.terminal.output import console, print_json, print_lines, print_tidily
from diagnose.ui.terminal.ranking import bullets
from diagnose.ui.words import minutes_text, sentence

MOST = 10_000


@click.command("drill", cls=Command)
@click.argument("machine", required=False, type=NAME_OR_PATH, shell_complete=suggest_machines)
@click.option(
    "--level",
    type=click.IntRange(0, 4),
    help="1: one row's part; 2: shared parts; 3: misleading circumstances; 4: two faults; "
    "0: as they come. With no MACHINE, --seed or --code either: for your weakest skill; else 1.",
)
@click.option("--seed", type=click.IntRange(0), help="Which drill; by chance when left out.")
@click.option("--code", type=WORDS, help="A drill that somebody sent, as one line.")
@click.option("--answers", type=READABLE, help="Take moves from a file, one on each line.")
@click.option(
    "--play",
    type=click.Choice(["planner", "practice", "random"]),
    help="Let the planner, practice without it, or chance play.",
)
@click.option(
    "--count",
    type=click.IntRange(1, MOST),
    help="With --play: so many drills, of this seed and those that follow.",
)
@click.option("--progress", is_flag=True, help="Show your own record by skill, and what is next.")
@click.option("--who", type=Words(blank=True), help="Whose record; your login name when left out.")
@click.option(
    "--casebook",
    type=NAME_OR_PATH,
    help="The URL of the casebook, if not the one that all commands use.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="With --play or --progress: print JSON for scripts."
)
@colour_option
def drill_command(
    *,
    machine: str | None,
    level: int | None,
    seed: int | None,
    code: str | None,
    answers: Path | None,
    play: str | None,
    count: int | None,
    progress: bool,
    who: str | None,
    casebook: str | None,
    as_json: bool,
    no_colour: bool,
) -> None:
    """Practise on a hidden fault.

    A fault is drawn on MACHINE (mounted-12 when left out). You see what a technician would see,
    do one thing at a time, and declare the cause; then you are told what each move was worth.
    What you finish is kept in your casebook: marks and skills, never what was hidden.

    Example:
      rowfault drill mounted-12 --level 2
      rowfault drill --progress
      rowfault drill mounted-6 --play practice --count 3 --seed 1
    """
    wish = _Wish(machine, level, seed, code)
    if code is not None and wish != _Wish(code=code):
        raise click.UsageError(f"Give --code {code} alone, or a MACHINE, --level and --seed.")
    if play is None and (count is not None or (as_json and not progress)):
        raise click.UsageError("Give --count with --play, and --json with --play or --progress.")
    if play is not None and (answers is not None or casebook is not None or who is not None):
        raise click.UsageError(f"Give --answers, --casebook and --who without --play {play}.")
    if progress and (not wish.open or play is not None or answers is not None):
        raise click.UsageError("Give --progress with --who, --casebook and --json only.")
    if play is not None:
        played_by(play, wish, count or 1, as_json=as_json)
        return
    record = record_of(casebook, who)
    if progress:
        show_progress(record, as_json=as_json, colour=not no_colour)
    else:
        drilled(wish, answers, record, colour=not no_colour)


_SAYINGS = {
    "acts": "what can be done at the first failed row; acts 6, acts supply, acts shared",
    "rows": "the rows with their last results",
    "told": "what has been done and seen so far, and how each run was made",
    "hint": "what to think of; hint again names the act",
    "?": "words of this drill; ?WORD explains one, such as ?control or ?valve",
    "declare": "declare CAUSE: what it was, such as declare 6 coil_open; ends the drill",
    "give up": "let somebody else go on; ends the drill",
    "quit": "stop here; nothing is kept but the code",
    "help": "these words",
}
"""What can be said besides a move."""

_EXAMPLES = "response 5-7, coil-resistance 6, replace-coil 6, swap-coil 6 7, ask oil"
_PROMPT = f"What do you do? (for example {_EXAMPLES}; acts, hint, ?, help)"
DIFFERENT_SEEDS = 1_000_000


_MACHINE = "mounted-12"
"""Where somebody drills who names no machine."""


@record
class _Wish:
    """Which drill was asked for."""

    machine: str | None = None
    level: int | None = None
    seed: int | None = None
    code: str | None = None

    @property
    def open(self) -> bool:
        """Whether any drill will do.

        >>> _Wish().open, _Wish(level=2).open
        (True, False)
        """
        return self == _Wish()

    def named(self, knowledge: Knowledge, level: int = FIRST_LEVEL) -> DrillName:
        """The drill's name, at ``level`` if none was asked for.

        Raises `InputError` for a code that is no good.

        >>> _Wish(seed=7).named(load_knowledge(), level=2)
        DrillName(machine='mounted-12', level=2, seed=7)
        """
        if self.code is not None:
            return read(self.code, knowledge)
        seed = secrets.randbelow(DIFFERENT_SEEDS) if self.seed is None else self.seed
        return DrillName(
            self.machine or _MACHINE, level if self.level is None else self.level, seed
        )


def drilled(wish: _Wish, answers: Path | None, record: _Record, *, colour: bool) -> None:
    """Let somebody play one drill, and keep it when it was finished.

    Raises `Unavailable` when it cannot be kept, after everything was said.
    """
    knowledge = load_knowledge(learned=False)
    bench = Bench(console(colour))
    level = _aimed(record, bench) if wish.open else FIRST_LEVEL
    drill = begin(wish.named(knowledge, level), knowledge)
    code = encode_drill(drill.named, knowledge)
    words = [*_SAYINGS, "none", *knowledge.checks, "ask"]
    done = Round(drill, code, bench, asker(answers, words)).hold()
    if done is not None:
        _keep(done, record, bench)


def _keep(done: Debriefing, record: _Record, bench: Bench) -> None:
    try:
        record.keep(finished(done, record.who))
    except Unavailable:
        bench.say("it could not be kept in your record")
        raise
    bench.say(kept_in_words(done))


def _aimed(record: _Record, bench: Bench) -> int:
    """The level that somebody's record asks for; what is wrong with it is said after the drill."""
    try:
        advice = advised(record.drills(), load_drills())
    except Unavailable:
        bench.say(f"your record cannot be read now, so this is level {FIRST_LEVEL}")
        return FIRST_LEVEL
    bench.say(f"level {advice.level.number}, because {advice.why}")
    return advice.level.number


def played_by(player: str, wish: _Wish, count: int, *, as_json: bool) -> None:
    """Let a player play drills of one seed after another."""
    knowledge = load_knowledge(learned=False)
    first = wish.named(knowledge)
    reports = []
    for seed in range(first.seed, first.seed + count):
        named = DrillName(first.machine, first.level, seed % MOST_SEEDS)
        drill = begin(named, knowledge)
        done = Judge(drill).debriefing(simulate(drill, PLAYERS[player]))
        reports.append(build_drill_report(done))
        if not as_json:
            print_lines([_line(reports[-1])])
            sys.stdout.flush()
    if as_json:
        print_json(DrillsReport(player=player, drills=tuple(reports)))
    elif count > 1:
        right = sum(each.right for each in reports)
        mean = sum(each.marks for each in reports) / count
        print_lines([f"{player}: {mean:.0f} marks on average, {right} of {count} right"])


def _line(report: DrillReport) -> str:
    right = "right" if report.right else "wrong"
    return (
        f"seed {report.seed}: {report.marks} marks, {report.cost:.0f} min with parts "
        f"(planner {report.planner_cost:.0f}, best {report.best_possible:.0f}), {right}"
    )


class Round:
    """One drill in hand, somebody who plays, and a bench to lay things out on."""

    def __init__(self, drill: Drill, code: str, bench: Bench, asker: Asker) -> None:
        self.drill, self.code, self.bench, self.asker = drill, code, bench, asker
        self.judge = Judge(drill)
        self.sitting = play(drill, [])
        self.hinted: tuple[Move, ...] | None = None

    @property
    def point(self) -> DecisionPoint:
        """What is known now."""
        return self.judge.point(self.sitting.moves)

    def hold(self) -> Debriefing | None:
        """Play until the drill is over, and talk it over; None when somebody stops before."""
        self._begin()
        while not self.sitting.over:
            line = self.asker.line()
            if line is None or line.strip().lower() in ("quit", "exit"):
                self.bench.say(f"stopped. The same drill again: rowfault drill --code {self.code}")
                return None
            try:
                self._take(line.strip())
            except Wrong as wrong:
                tail = f"; {wrong.remedy}" if wrong.remedy else ""
                self.bench.say(f"expected {wrong.expected}, got {wrong.got}{tail}", "caution")
            except RowfaultError as error:
                self.bench.say(str(error), "caution")
        if self.sitting.called_off:
            self.bench.say("so much was mended that the machine goes to somebody else now")
        done = self.judge.debriefing(self.sitting)
        self._print([Text(), *debriefing_text(done, self.bench.console)])
        self.bench.say(f"the same drill again: rowfault drill --code {self.code}")
        return done

    def _begin(self) -> None:
        level, machine = self.drill.level, self.drill.machine
        head = f"{machine.id}, {machine.rows} rows. Level {level.number}: {level.name}"
        self.bench.say(head, "title")
        self.bench.say(f"{level.says} The faults are invented. {DEFERRAL}")
        self._told()
        self._rows()
        self.bench.say(_PROMPT, "title")

    def _take(self, line: str) -> None:
        """Do what a line says: show something, or make a move."""
        word, _, rest = line.partition(" ")
        if line.startswith("?") or word.lower() == "glossary":
            self._explain(line.lstrip("?").removeprefix("glossary").strip())
        elif word.lower() == "acts":
            self._acts(rest.strip().lower())
        elif word.lower() in ("rows", "told", "hint", "help"):
            {"rows": self._rows, "told": self._told, "hint": self._hint, "help": self._help}[
                word.lower()
            ]()
        else:
            self._make(self.point.reader(line))

    def _make(self, move: Move) -> None:
        warned = plain_cautions(self.point, move)
        self.sitting = play(self.drill, [*self.sitting.moves, move])
        self.hinted = None
        if self.sitting.over:
            return
        step = self.sitting.steps[-1]
        lines = [*self._seen(step)]
        clock = (
            f"{move.id}: {minutes_text(step.minutes)}, {minutes_text(self.sitting.minutes)} so far"
        )
        parts: list[RenderableType] = [Text(clock, style="title"), *bullets(lines)]
        parts += [Text(f"Take care: {sentence(each)}", style="caution") for each in warned]
        self._print(parts)
        if any(isinstance(fact, Run) for fact in step.facts):
            self._rows()

    def _seen(self, step: DrillStep) -> Iterator[str]:
        """What a step showed."""
        known = self.drill.knowledge
        for name in step.besides:
            prepare = known.circumstances[name].prepare
            if prepare is not None:
                yield f"first it had to be put right: {prepare.does}"
        yield from (self._fact(fact) for fact in step.facts)
        if step.move.kind == "ask" and not step.facts:
            yield "that was told at the start: nothing out of the ordinary"
        if step.parts_minutes:
            yield f"a part was used, worth {minutes_text(step.parts_minutes)}"
        if step.move.kind in ("mend", "swap"):
            yield "what it did, a check will show"

    def _fact(self, fact: Statement) -> str:
        if isinstance(fact, Skipped):
            return "nobody knows"
        if isinstance(fact, Run):
            return f"{fact.check} check, made as it should be: {pattern_in_words(fact.pattern)}"
        return in_words(fact, self.drill.machine, self.drill.knowledge)

    def _told(self) -> None:
        """The runs with how they were made, and everything since."""
        known, machine = self.drill.knowledge, self.drill.machine
        lines = []
        for number, event in enumerate(self.drill.opening[2:], 1):
            run = event.what
            assert isinstance(run, Run)
            untold = [
                known.circumstances[each].name
                for each in self.drill.level.untold
                if each not in run.circumstances
            ]
            missing = f"; not told: {', '.join(untold)}" if untold else ""
            lines.append(f"run {number}, {in_words(run, machine, known)}{missing}")
        steps = self.sitting.steps
        lines += [f"{step.move.id}: {'; '.join(self._seen(step))}" for step in steps]
        if not self.sitting.steps:
            lines.append("the machine's past: nothing out of the ordinary")
        self._print([*bullets(lines)])

    def _rows(self) -> None:
        self.bench.show("rows", self.point.job)

    def _help(self) -> None:
        lines = [f"{word}: {does}" for word, does in _SAYINGS.items()]
        self._print([Text(_PROMPT), *bullets(lines)])

    def _hint(self) -> None:
        """First in words, then the act."""
        point, moves = self.point, self.sitting.moves
        if self.hinted != moves:
            self.hinted = moves
            self.bench.say(f"{worded(point)}. Hint again names the act")
            return
        parts: list[RenderableType] = [Text(f"The planner would do: {point.best.id}")]
        warned = cautions(point, point.best)
        parts += [Text(f"Take care: {sentence(each)}", style="caution") for each in warned]
        self._print(parts)

    def _explain(self, word: str) -> None:
        """What a word means: one of the drill's own, or any page."""
        words = load_words()
        if not word:
            self._print([Text(f"{', '.join(words)}. ?WORD explains one.")])
        elif word.lower() in words:
            self.bench.say(f"{word}: {words[word.lower()].says}")
        else:
            known = self.drill.knowledge
            pages, _ = looked_up(word, Catalogue(known, load_rules(), scripts=False), known)
            self._print([Text(line) for line in pages[0].text.splitlines() if line])

    def _acts(self, about: str) -> None:
        """What can be done at a row or another place; of what rows share, the places."""
        machine = self.drill.machine
        row = about if about.isdigit() else ""
        if not about:
            row = str(self.point.failed[0]) if self.point.failed else "1"
        wanted = f"row-{row}" if row else about
        if wanted == "shared":
            self._shared()
            return
        parts = [part for part in machine.parts if wanted in (part, part.partition("/")[0])]
        if not parts:
            raise Wrong(
                got=quoted(wanted),
                expected="a row, a place such as supply, or shared",
                remedy="acts shared",
            )
        lines = [f"{part}: {', '.join(_works(self.drill, part))}" for part in parts]
        self._print([*bullets(line for line in lines if not line.endswith(": "))])
        checks = " and ".join(f"{each} ROWS" for each in self.drill.knowledge.checks)
        self.bench.say(
            f"besides: {checks}, ask CIRCUMSTANCE; acts shared for what rows share. Minutes "
            "without change of set-up; a star: it can hurt, ?NAME says how"
        )

    def _shared(self) -> None:
        """The places of what several rows share, with their parts."""
        machine = self.drill.machine
        places: dict[str, list[str]] = {}
        for part in machine.parts:
            if len(machine.rows_of(part)) > 1:
                place, _, name = part.partition("/")
                places.setdefault(place, []).append(name)
        self._print([*bullets(f"{place}: {', '.join(names)}" for place, names in places.items())])
        self.bench.say(f"acts and a place shows more, such as acts {next(iter(places))}")

    def _print(self, parts: Sequence[RenderableType]) -> None:
        print_tidily(self.bench.console, Group(*parts))


def _works(drill: Drill, part: str) -> Iterator[str]:
    """Measurements, remedies and swaps of a part with their minutes."""
    kind = drill.machine.parts[part]
    rows = len(drill.machine.rows_of(part))
    for each in kind.measurements:
        yield f"{each.id}{'*' if each.caution else ''} {each.minutes:g}"
    for remedy in kind.remedies:
        price = "" if remedy.parts_price == "none" else " + part"
        star = "*" if remedy.caution else ""
        yield f"{remedy.id}{star} {remedy.minutes_for(rows):g}{price}"
    for swap in kind.swaps:
        yield f"{swap.id}{'*' if swap.caution else ''} {swap.minutes:g}"


@record
class _Record:
    """Where one person's finished drills are kept; every method raises `Unavailable`."""

    url: str | None
    who: str

    def drills(self) -> list[Finished]:
        """The drills, the first one first."""
        with opened_casebook(self.url) as casebook:
            return casebook.drills(self.who)

    def keep(self, done: Finished) -> None:
        """Keep one more."""
        from diagnose.store.server import RETURN_SECONDS

        with opened_casebook(self.url, patience=RETURN_SECONDS) as casebook:
            casebook.keep_drill(done)


def record_of(url: str | None, who: str | None) -> _Record:
    """The record of somebody, or of whoever is logged in; of nobody by name if that is unknown.

    >>> record_of(None, " Ann ")
    _Record(url=None, who='Ann')
    """
    return _Record(url, on_one_line((login() if who is None else who).strip()))


def show_progress(record: _Record, *, as_json: bool, colour: bool) -> None:
    """Print somebody's record by skill. Raises `Unavailable`."""
    report = build_progress_report(record.who, record.drills(), load_drills())
    if as_json:
        print_json(report)
        return
    out = console(colour)
    print_tidily(out, Group(*progress_text(report, out)))
