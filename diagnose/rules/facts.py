"""Facts of a case, for the rules: runs, results by group of rows, work, circumstances."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property

from diagnose.knowledge.base import Knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Run, Swapped
from diagnose.observations.result import Result
from diagnose.observations.understood import refuse_what_is_not_understood
from diagnose.record import record
from diagnose.rules.finding import Fact, FactValue
from diagnose.rules.readingfacts import change_facts, reading_facts, rows_touched, thickness
from diagnose.rules.rowmasks import Tally, blocks, mask_of, rows_in, tally_of
from diagnose.rules.vocabulary import fact

_SHARED = {
    "section": "section",
    "branch": "branch",
    "port": "bleed-port",
    "controller": "controller",
}
"""What two rows may have in common, by kind of group, the smallest first."""


def facts_of(machine: Machine, case: Case, knowledge: Knowledge) -> tuple[Fact, ...]:
    """Everything the rules may know of a case, in a fixed order.

    A run in which no row ran is no run. Raises `NotUnderstood` for what no rule can know yet.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.knowledge.base import load_knowledge
    >>> from diagnose.machine.graph import load_machine
    >>> machine, knowledge = load_machine("mounted-6"), load_knowledge()
    >>> case = read_typed(machine, ["bleed=PPPPPF", "oil=54C"], knowledge)
    >>> print(facts_of(machine, case, knowledge)[0])
    machine(machine=mounted-6, rows=6, sections=1, branches=1, controllers=1, chains=0)
    """
    refuse_what_is_not_understood(case)
    made = tuple(run for run in case.runs if set(run.results) != {Result.NOT_RUN})
    touched = rows_touched(machine, case.work)
    return (
        _machine_fact(machine),
        *_run_facts(machine, made, knowledge, touched),
        *change_facts(made, touched),
        *_history(case, knowledge),
        *reading_facts(machine, case, made, touched),
        *_swaps(case),
    )


def _machine_fact(machine: Machine) -> Fact:
    return fact(
        "machine",
        machine=machine.id,
        rows=machine.rows,
        sections=len(machine.sections),
        branches=len(machine.branches),
        controllers=len(machine.controllers),
        chains=len(machine.chains),
    )


def _run_facts(
    machine: Machine,
    runs: tuple[Run, ...],
    knowledge: Knowledge,
    touched: tuple[frozenset[int], ...],
) -> Iterator[Fact]:
    groups = groups_of(machine)
    latest = {run.check: run.index for run in runs}
    story = _Story(machine, groups, runs, touched)
    for run, tally in zip(runs, story.tallies, strict=True):
        yield _run_fact(machine, run, tally, latest[run.check] == run.index)
        yield from _circumstances(run, knowledge)
        if tally.failed:
            yield from story.groups_that_failed(run, tally)
            yield from story.failed_rows(run, tally)
            yield from story.lone_pair(run, tally)


def _run_fact(machine: Machine, run: Run, tally: Tally, latest: bool) -> Fact:
    known = (tally.passed | tally.failed).bit_count()
    return fact(
        "run",
        run=run.index,
        check=run.check,
        total=tally.run.bit_count(),
        passed=tally.passed.bit_count(),
        failed=tally.failed.bit_count(),
        unsure=tally.unsure.bit_count(),
        not_run=machine.rows - tally.run.bit_count(),
        blocks=blocks(tally.failed),
        latest=_yes(latest),
        full=_yes(known == machine.rows),
    )


def _circumstances(run: Run, knowledge: Knowledge) -> Iterator[Fact]:
    for name, circumstance in knowledge.of_scope("run").items():
        about: dict[str, FactValue] = {"run": run.index, "check": run.check, "circumstance": name}
        value = run.circumstances.get(name)
        if value is None:
            if circumstance.value != "none":
                yield fact("unknown", **about)
        elif isinstance(value, str):
            yield fact("setting", **about, choice=value)
        elif circumstance.value == "temperature":
            yield fact("temperature", **about, celsius=value, thickness=thickness(value))
        else:
            yield fact("pressure", **about, bar=value)


def _history(case: Case, knowledge: Knowledge) -> Iterator[Fact]:
    for name in knowledge.of_scope("case"):
        if name in case.history:
            yield fact("history", circumstance=name, answer=case.history[name])
        else:
            yield fact("unknown", circumstance=name)


def _swaps(case: Case) -> Iterator[Fact]:
    """For each part that changed places, which swap it was."""
    for work in case.work:
        if isinstance(work, Swapped):
            for part in (work.part, work.other):
                yield fact("swapped", part=part, detail=work.swap)


@record
class _Story:
    """What the facts about failed rows are counted from."""

    machine: Machine
    groups: list[_Group]
    runs: tuple[Run, ...]
    touched: tuple[frozenset[int], ...]

    @cached_property
    def tallies(self) -> tuple[Tally, ...]:
        """What each run showed, in their order.

        >>> _Story(None, [], (Run(1, "bleed", (Result.FAIL,)),), ()).tallies
        (Tally(passed=0, failed=2, unsure=0),)
        """
        return tuple(map(tally_of, self.runs))

    def other(self, run: Run) -> Tally:
        """What rows last showed in the checks other than that of a run, with no work between.

        A fail outweighs a pass.

        >>> from diagnose.observations.typed import read_typed
        >>> from diagnose.machine.graph import load_machine
        >>> machine = load_machine("mounted-6")
        >>> runs = read_typed(machine, ["bleed=FPPPPP", "response=PPPPPF"]).runs
        >>> tally = _Story(machine, [], runs, ()).other(runs[1])
        >>> rows_in(tally.failed), rows_in(tally.passed)
        ((1,), (2, 3, 4, 5, 6))
        """
        last: dict[str, Tally] = {}
        for one, tally in zip(self.runs, self.tallies, strict=True):
            if one.check != run.check:
                worked = self._touched_between(one.epoch, run.epoch)
                last[one.check] = tally.without(worked).after(last.get(one.check, Tally()))
        others = last.values()
        failed = _union(tally.failed for tally in others)
        passed = _union(tally.passed for tally in others) & ~failed
        return Tally(passed, failed, _union(tally.unsure for tally in others) & ~failed & ~passed)

    def _touched_between(self, one: int, other: int) -> int:
        """The rows that work between two epochs may have changed, as bits."""
        between = self.touched[min(one, other) : max(one, other)]
        return mask_of(frozenset().union(*between))

    def groups_that_failed(self, run: Run, tally: Tally) -> Iterator[Fact]:
        other = self.other(run)
        for group in self.groups:
            if tally.failed & group.mask and group.matters_to(run.check):
                yield self._group_fact(run, tally, other, group)

    def _group_fact(self, run: Run, tally: Tally, other: Tally, group: _Group) -> Fact:
        inside, outside = group.mask, ~group.mask
        sections = [mask for mask in self._section_masks() if mask & inside]
        return Fact(
            "group",
            {
                "run": run.index,
                "check": run.check,
                "group": group.kind,
                "place": group.place,
                "first_row": group.rows[0],
                "last_row": group.rows[-1],
                "size": len(group.rows),
                "failed": (tally.failed & inside).bit_count(),
                "passed": (tally.passed & inside).bit_count(),
                "outside_failed": (tally.failed & outside).bit_count(),
                "outside_passed": (tally.passed & outside).bit_count(),
                "other_failed": (other.failed & inside).bit_count(),
                "other_passed": (other.passed & inside).bit_count(),
                "sections": len(sections),
            },
        )

    def _section_masks(self) -> list[int]:
        return [group.mask for group in self.groups if group.kind == "section"]

    def failed_rows(self, run: Run, tally: Tally) -> Iterator[Fact]:
        rows, other = self.machine.rows, self.other(run)
        both = zip(self.runs, self.tallies, strict=True)
        same = [(one.epoch, seen) for one, seen in both if one.check == run.check]
        for row in rows_in(tally.failed):
            since = self._last_work(row, run)
            history = [seen for epoch, seen in same if epoch >= since]
            yield Fact(
                "failed_row",
                {
                    "run": run.index,
                    "check": run.check,
                    "row": row,
                    "failed_rows": tally.failed.bit_count(),
                    "before": tally.word(row - 1, rows),
                    "after": tally.word(row + 1, rows),
                    "end": _yes(row in (1, rows)),
                    "other": other.word(row, rows),
                    "times_failed": sum(one.failed >> row & 1 for one in history),
                    "times_passed": sum(one.passed >> row & 1 for one in history),
                },
            )

    def _last_work(self, row: int, run: Run) -> int:
        """The epoch that the last work on a row before a run began; 0 when there was none."""
        done = enumerate(self.touched[: run.epoch], start=1)
        return max((number for number, rows in done if row in rows), default=0)

    def lone_pair(self, run: Run, tally: Tally) -> Iterator[Fact]:
        """A fact about the two rows that failed alone; nothing for any other number of rows.

        >>> from diagnose.observations.typed import read_typed
        >>> from diagnose.machine.graph import load_machine
        >>> machine = load_machine("mounted-12")
        >>> [run] = read_typed(machine, ["response=PPFFPPPPPPPP"]).runs
        >>> print(*_Story(machine, groups_of(machine), (run,), ()).lone_pair(run, tally_of(run)))
        pair(run=1, check=response, first=3, second=4, apart=1, shared=section-and-branch)
        """
        if tally.failed.bit_count() == 2:
            first, second = rows_in(tally.failed)
            yield fact(
                "pair",
                run=run.index,
                check=run.check,
                first=first,
                second=second,
                apart=second - first,
                shared=self._shared(tally.failed, run.check),
            )

    def _shared(self, both: int, check: str) -> str:
        kinds = {
            group.kind
            for group in self.groups
            if group.mask & both == both
            and group.matters_to(check)
            and len(group.rows) < self.machine.rows
        }
        if {"section", "branch"} <= kinds:
            return "section-and-branch"
        return next((name for kind, name in _SHARED.items() if kind in kinds), "nothing")


def _union(masks: Iterable[int]) -> int:
    union = 0
    for mask in masks:
        union |= mask
    return union


def _yes(true: bool) -> str:
    return "yes" if true else "no"


@record
class _Group:
    """Rows that share a part, or a place, or nothing but the machine.

    ``checks`` are those that exercise what the rows share; empty means every check.
    """

    kind: str
    place: str
    rows: tuple[int, ...]
    mask: int
    checks: frozenset[str] = frozenset()

    def matters_to(self, check: str) -> bool:
        """Whether the check depends on what the rows share.

        >>> _Group("port", "port-left", (1,), 2, frozenset({"bleed"})).matters_to("response")
        False
        """
        return not self.checks or check in self.checks


def groups_of(machine: Machine) -> list[_Group]:
    """Sections, branches, controllers, ports, tails of chains, ends, alternate rows, all rows.

    >>> from diagnose.machine.graph import load_machine
    >>> [group.rows for group in groups_of(load_machine("mounted-12")) if group.kind == "section"]
    [(1, 2, 3, 4, 5, 6), (7, 8, 9, 10, 11, 12)]
    """
    checks = _checks_by_holder(machine.parts)
    holders = (
        ("section", machine.sections),
        ("branch", machine.branches),
        ("controller", machine.controllers),
        ("port", machine.ports),
    )
    named = [
        _Group(kind, place, tuple(sorted(rows)), mask_of(rows), checks[place])
        for kind, places in holders
        for place, rows in places.items()
    ]
    return [*named, *_tails(machine, checks), *_regular(machine.rows)]


def _checks_by_holder(parts: Mapping[str, PartKind]) -> Mapping[str, frozenset[str]]:
    found: defaultdict[str, set[str]] = defaultdict(set)
    for part, kind in parts.items():
        found[part.partition("/")[0]].update(kind.exercised_by)
    frozen = {holder: frozenset(checks) for holder, checks in found.items()}
    return defaultdict(frozenset, frozen)


def _tails(machine: Machine, checks: Mapping[str, frozenset[str]]) -> Iterator[_Group]:
    """Whatever hangs on each hose of a chain, the first hose left out: it feeds all."""
    for chain, rows in machine.chains.items():
        for place in range(1, len(rows)):
            tail = rows[place:]
            hose = f"{chain}/chain-{tail[0]}"
            yield _Group("chain-tail", hose, tuple(sorted(tail)), mask_of(tail), checks[chain])


def _regular(rows: int) -> Iterator[_Group]:
    everyone = tuple(range(1, rows + 1))
    yield _Group("machine", "machine", everyone, mask_of(everyone))
    if rows >= 4:
        for kind, place, some in (
            ("ends", "ends", (1, rows)),
            ("alternate", "odd-rows", everyone[::2]),
            ("alternate", "even-rows", everyone[1::2]),
        ):
            yield _Group(kind, place, some, mask_of(some))
