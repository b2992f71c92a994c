"""What stands for the outcomes of a run of many rows in which some pass and some fail.

They are too many to be told one by one. One pattern is taken as an example of them, so that a
plan can go on from it: a group of rows that belong together, or rows spread over the machine as
a cause that comes and goes would have them, whichever kind of pattern is likeliest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import comb

from diagnose.machine.graph import Machine
from diagnose.observations.rows import rows_in_words
from diagnose.ranking.causes import Ranking
from diagnose.retest.candidates import Candidate, Outcome, rerun_name
from diagnose.retest.suppose import chance, suppose

SHARES = (0.25, 0.5, 0.75)
"""What part of the rows fails in the examples of causes that come and go, beside one row alone."""


def example(ranking: Ranking, act: Candidate) -> tuple[Outcome, Ranking] | None:
    """A likely one of the outcomes that an act leaves untold, and what would be known with it.

    None when the act tells them all, or is no run.

    Of six rows some outcomes are told: none fails, all do, row 6 does. Others fail in part too.

    >>> from diagnose import load_machine, rank, read_typed
    >>> from diagnose.retest.candidates import rerun
    >>> told = read_typed(load_machine("mounted-6"), ["response=PPPPPF"])
    >>> found = rank(load_machine("mounted-6"), told)
    >>> _, after = example(found, rerun(found.evidence, "response", (1, 2, 3, 4, 5, 6), (6,)))
    >>> sorted(set(after.evidence.case.runs[-1].pattern))
    ['F', 'P']
    >>> example(found, rerun(found.evidence, "response", (4, 5, 6), (6,))) is None
    True
    """
    rows = sorted(int(name.rpartition("@")[2]) for name in act.outcomes[0].event)
    told = [{name for name, fails in one.event.items() if fails} for one in act.outcomes]
    found: list[tuple[float, Outcome, Ranking]] = []
    for failing, alike in _examples(ranking.evidence.model.machine, rows):
        event = {rerun_name(act.check, row): row in failing for row in rows}
        if {name for name, fails in event.items() if fails} not in told:
            outcome = Outcome(f"some fail, say only {rows_in_words(failing)}", event)
            after = suppose(ranking, act, outcome)
            found.append((alike * chance(ranking, after), outcome, after))
    if not found:
        return None
    _, outcome, after = max(found, key=lambda one: one[0])
    return outcome, after


def _examples(machine: Machine, rows: Sequence[int]) -> Iterator[tuple[tuple[int, ...], int]]:
    """Failing rows, and how many patterns are as likely when the rows are alike."""
    many = len(rows)
    groups = [*machine.sections.values(), *machine.branches.values(), *machine.chains.values()]
    parts = [{*group} & {*rows} for group in groups]
    for part in dict.fromkeys(tuple(sorted(p)) for p in (*parts, *({*rows} - p for p in parts))):
        if 1 < len(part) < many:
            yield part, 1
    for size in dict.fromkeys([1, *(round(many * share) for share in SHARES)]) if many > 1 else ():
        spread = tuple(rows[place * many // size] for place in range(size))
        yield spread, comb(many, size)
