"""What a player can do, and how it is written.

A move has the id that the plan gives the same act: ``response@5-7``,
``coil-resistance@row-6/valve``, ``replace-coil@row-6/valve``,
``swap-coil@row-6/valve+row-5/valve``, ``ask:oil@2``. A drill ends with ``declare:CAUSE``,
``declare:none`` or ``give-up``.
"""

from __future__ import annotations

import re
from typing import Literal

from diagnose.errors import near_matches, offer, quoted
from diagnose.formats.rowranges import read_rows
from diagnose.formats.value_problem import Wrong
from diagnose.knowledge.base import Knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.rows import ranges
from diagnose.observations.values import measurement_ids, parts_with, remedy_ids, swap_ids
from diagnose.record import record

_Kind = Literal["run", "read", "ask", "mend", "swap", "declare", "give up"]

ENDS = ("declare", "give up")
NONE = "none"
"""Declared when nothing is broken."""

_FEW = 6
"""Parts that are named when one of several is meant."""


@record
class Move:
    """One thing to do.

    Parameters
    ----------
    name: the check, the measurement, the remedy, the swap, the circumstance, or the causes with
        commas between.
    rows: that a check is run on.
    part, other: where work is done, and what it is swapped with.
    run: the run that a question is about; 0 for the machine's past.
    """

    kind: _Kind
    name: str = ""
    rows: tuple[int, ...] = ()
    part: str = ""
    other: str = ""
    run: int = 0

    @property
    def id(self) -> str:
        """As the plan writes it.

        >>> Move("run", "response", (5, 6, 7)).id, Move("swap", "s", part="a", other="b").id
        ('response@5-7', 's@a+b')
        """
        match self.kind:
            case "run":
                return f"{self.name}@{ranges(self.rows)}"
            case "ask":
                return f"ask:{self.name}@{self.run}" if self.run else f"ask:{self.name}"
            case "swap":
                return f"{self.name}@{self.part}+{self.other}"
            case "declare":
                return f"declare:{self.name}"
            case "give up":
                return "give-up"
        return f"{self.name}@{self.part}"


@record
class MoveReader:
    """Reads moves for one machine. ``first`` is how many runs were made before the drill."""

    machine: Machine
    knowledge: Knowledge
    first: int

    def __call__(self, text: str) -> Move:
        """The move that a text means: its id, or short words such as ``coil-resistance 6``.

        Raises `Wrong`, which says what would be right.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> from diagnose.machine.graph import load_machine
        >>> reader = MoveReader(load_machine("mounted-6"), load_knowledge(), 2)
        >>> reader("coil-resistance 6").id, reader("swap-coil 6").id, reader("ask oil").id
        ('coil-resistance@row-6/valve', 'swap-coil@row-6/valve+row-5/valve', 'ask:oil@2')
        """
        words = [w for w in re.split(r"[\s@:]+", text.strip(), maxsplit=1) if w]
        if not words:
            raise Wrong("something to do", "nothing", "write acts to see what can be done")
        name, rest = words[0].lower().replace("_", "-"), words[1].strip() if words[1:] else ""
        if name in ("give-up", "give") and rest in ("", "up"):
            return Move("give up")
        if name == "declare":
            return Move("declare", self._causes(rest))
        if name == "ask":
            return self._question(rest)
        if name in self.knowledge.checks:
            return Move("run", name, self._rows(name, rest))
        return self._work(name, rest)

    def _rows(self, check: str, rest: str) -> tuple[int, ...]:
        every = self.machine.rows
        if rest.lower() == "all":
            return tuple(range(1, every + 1))
        if not rest:
            raise Wrong(
                f"the rows to run the {check} check on", "none", f"write {check} 5-7 or all"
            )
        return read_rows(re.sub(r"[\s,]+", ",", rest.replace("rows", "").strip()), every)

    def _question(self, rest: str) -> Move:
        name, _, number = re.sub(r"[\s@]+", "@", rest).partition("@")
        kinds = {n: c for n, c in self.knowledge.circumstances.items() if c.ask is not None}
        if name not in kinds:
            remedy = offer(name, sorted(kinds))
            raise Wrong(got=quoted(name), expected="a circumstance to ask for", remedy=remedy)
        if kinds[name].scope == "case":
            return Move("ask", name)
        run = number.replace("run", "").strip("@ ") or str(self.first)
        if not run.isdigit() or not 1 <= int(run) <= self.first:
            got = f"run {run}"
            raise Wrong(f"one of the first {self.first} runs", got, f"write ask {name} 1")
        return Move("ask", name, run=int(run))

    def _work(self, name: str, rest: str) -> Move:
        known = self.knowledge
        kinds: dict[_Kind, tuple[str, ...]] = {
            "read": measurement_ids(known),
            "mend": remedy_ids(known),
            "swap": swap_ids(known),
        }
        for kind, names in kinds.items():
            if name in names:
                part, other = self._places(kind, name, rest)
                return Move(kind, name, part=part, other=other)
        every = [*known.checks, "ask", "declare", *(n for names in kinds.values() for n in names)]
        near = near_matches(name, every)
        remedy = f"did you mean {' or '.join(near)}?" if near else "write acts to see what can be"
        raise Wrong(got=quoted(name), expected="something that can be done", remedy=remedy)

    def _places(self, kind: _Kind, name: str, rest: str) -> tuple[str, str]:
        able = parts_with(self.machine, name)
        if not able:
            raise Wrong(f"a part of this machine for {name}", "none has it", "write acts")
        here, _, there = re.sub(r"\s*(\+|\bwith\b|\s)\s*", "+", rest).partition("+")
        part = self._place(name, here, able)
        if kind != "swap":
            if there:
                raise Wrong(got=quoted(rest), expected="one place")
            return part, ""
        other = self._place(name, there, able) if there else self._neighbour(part, able)
        if other == part:
            raise Wrong(got=quoted(other), expected="the like part of another row")
        return part, other

    def _place(self, name: str, said: str, able: tuple[str, ...]) -> str:
        """The part that is meant: its id, its row or place, or the only one there is."""
        said = f"row-{said}" if said.isdigit() else said.lower()
        found = [part for part in able if not said or said in (part, part.partition("/")[0])]
        if len(found) == 1:
            return found[0]
        some = ", ".join((found or list(able))[:_FEW])
        raise Wrong(f"one place for {name}", quoted(said or "none"), f"such as {some}")

    def _neighbour(self, part: str, able: tuple[str, ...]) -> str:
        row = self.machine.rows_of(part)[0]
        others = [each for each in able if each != part]
        return min(others, key=lambda each: abs(self.machine.rows_of(each)[0] - row))

    def _causes(self, rest: str) -> str:
        """``none``, or the ids of causes with commas between."""
        if rest.strip().lower() in (NONE, "nothing"):
            return NONE
        found = [self._cause(each) for each in re.split(r"\s*,\s*|\s+and\s+", rest)]
        return ",".join(dict.fromkeys(found))

    def _cause(self, rest: str) -> str:
        """A cause's id, or its part and mode in other words."""
        said = rest.strip().lower()
        place, _, mode = re.sub(r"\s+", ":", said, count=1).partition(":")
        place = f"row-{place}" if place.isdigit() else place
        mode = mode.replace("-", "_").replace(" ", "_")
        within = [p for p in self.machine.parts if place in (p, p.partition("/")[0])]
        found = [f"{p}:{m.id}" for p in within for m in self.machine.parts[p].modes if m.id == mode]
        if len(found) == 1:
            return found[0]
        some = found or [f"{p}:{m.id}" for p in within for m in self.machine.parts[p].modes]
        remedy = (
            f"such as {', '.join(some[:_FEW])}" if some else "write declare row-6/valve:coil_open"
        )
        raise Wrong(got=quoted(rest), expected="a cause as PART:MODE, or none", remedy=remedy)
