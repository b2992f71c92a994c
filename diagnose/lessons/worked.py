"""A worked case as its file tells it: a situation, steps with what is expected, a lesson.

::

    schema: rowfault/worked/1
    id: swapped-coil
    title: The problem that followed the coil
    topics: [one row, swaps]
    machine: mounted-12
    situation: Invented. Row 5 does not answer …
    steps:
      - told: ["response=fail:5,pass:rest", "oil=54C"]
        leads: row-5/valve:coil_shorted
        patterns: [one-row-alone]
        next: measure
        because: One row alone is one of the row's own parts …
    lesson: …
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from diagnose.errors import FileProblems, Place, Problem
from diagnose.knowledge.model import Chance, Id, Strict, Text, read_model
from diagnose.knowledge.places import shipped, yaml_files
from diagnose.knowledge.wrong import Fault, Wrong

INVENTED = "Invented."

Next = Literal["rerun", "measure", "look", "ask", "swap", "remedy", "prove", "proven", "hand over"]
"""What is done next: a kind of act, the proving run, or how the case ends."""


class Step(Strict):
    """What somebody told, and what follows from all that was told so far.

    Parameters
    ----------
    told: words as ``rowfault rank`` takes them; a run comes with its own circumstances.
    leads: the likeliest cause; None where no cause is worth naming.
    at_least: how probable that is at least.
    unlikely: causes, or groups of causes, that together stay below a tenth.
    patterns: rules that name what the eye sees; each has found something.
    next: the kind of the next act; ``at`` narrows it to an act's id.
    because: why, in words.
    """

    told: Annotated[tuple[Text, ...], Field(min_length=1)]
    leads: Text | None = None
    at_least: Chance = 0.0
    unlikely: tuple[Text, ...] = ()
    patterns: tuple[Text, ...] = ()
    next: Next
    at: Text | None = None
    because: Text


class Worked(Strict):
    """A worked case."""

    form: Literal["rowfault/worked/1"] = Field(alias="schema")
    id: Id
    title: Text
    topics: Annotated[tuple[Text, ...], Field(min_length=1)]
    machine: Text
    situation: Text
    steps: Annotated[tuple[Step, ...], Field(min_length=1)]
    lesson: Text

    def faults(self) -> Iterator[Fault]:
        """A situation that does not say that it is invented.

        >>> step = {"told": ["bleed=pass:all"], "next": "proven", "because": "All passed."}
        >>> texts = dict.fromkeys(("id", "title", "machine", "lesson"), "a")
        >>> texts |= {"schema": "rowfault/worked/1", "situation": "Row 5."}
        >>> case = Worked(topics=["a"], steps=[step], **texts)
        >>> [(path, wrong.expected, wrong.got) for path, wrong in case.faults()]
        [(('situation',), 'Invented. first', 'Row 5.')]
        """
        if not self.situation.startswith(INVENTED):
            yield ("situation",), Wrong(f"{INVENTED} first", self.situation[:20])


def read_worked(path: Path) -> Worked:
    """The worked case in a file. Raises `FileProblems` with everything that is wrong in it.

    >>> case = read_worked(shipped().casebook / "worked" / "swapped-coil.yaml")
    >>> case.title, case.machine, [step.next for step in case.steps]
    ('The problem that followed the coil', 'mounted-12', ['measure', 'remedy', 'prove', 'proven'])
    """
    worked = read_model(path, Worked)
    if worked.id != path.stem:
        expected = f"id: {path.stem}, as the file is called"
        where = Place(str(path))
        raise FileProblems([Problem(where, expected, worked.id, "rename one of them")])
    return worked


def worked_cases() -> tuple[Worked, ...]:
    """The worked cases that ship, in order of id. Raises `FileProblems`.

    >>> all(case.situation.startswith(INVENTED) for case in worked_cases())
    True
    """
    return tuple(read_worked(path) for path in yaml_files(shipped().casebook / "worked"))
