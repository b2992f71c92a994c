"""Write a case as the text of a case file, which `diagnose.observations.casefile` reads."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping

from diagnose.formats.units import NO_CODE
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.graph import Machine
from diagnose.observations.case import Case
from diagnose.observations.events import Reading, Remedied, Run, Work
from diagnose.observations.values import NONE_STORED

UNITS = {"temperature": "C", "pressure": "bar", "ohm": "ohm", "V": "V", "bar": "bar"}
"""The unit in which a sort of number is kept and written."""


def case_text(case: Case, machine: Machine, knowledge: Knowledge | None = None) -> str:
    """The case as the text of a case file; reading it gives the same case.

    >>> from diagnose.observations.typed import read_typed
    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> told = ["first-hookup=yes", "bleed=PPPPPF", "oil=54C", "coil-resistance@row-6=7.4ohm"]
    >>> print(case_text(read_typed(machine, told), machine), end="")
    machine: mounted-6
    history: {first-hookup: "yes"}
    runs:
      - {check: bleed, pattern: "PPPPPF", circumstances: {oil: "54.0 C"}}
    readings:
      - {measurement: coil-resistance, part: row-6/valve, value: "7.4 ohm"}
    """
    known = knowledge or load_knowledge()
    lines = [f"machine: {case.machine}"]
    if case.history:
        lines.append(f"history: {_notes_text(case.history, known)}")
    if case.work:
        return "\n".join([*lines, "story:", *_story(case, machine, known)]) + "\n"
    if case.runs:
        lines += ["runs:", *(_run_text(run, known) for run in case.runs)]
    if case.readings:
        lines += ["readings:", *(_reading_text(reading, machine) for reading in case.readings)]
    return "\n".join(lines) + "\n"


def _story(case: Case, machine: Machine, knowledge: Knowledge) -> Iterator[str]:
    """Epoch after epoch: its runs, its readings, then the work that ended it."""
    for epoch in range(len(case.work) + 1):
        yield from (_run_text(run, knowledge) for run in case.runs if run.epoch == epoch)
        yield from (_reading_text(each, machine) for each in case.readings if each.epoch == epoch)
        yield from (_work_text(work) for work in case.work[epoch : epoch + 1])


def _work_text(work: Work) -> str:
    if isinstance(work, Remedied):
        return f"  - {{remedy: {work.remedy}, part: {work.part}}}"
    return f"  - {{swap: {work.swap}, part: {work.part}, with: {work.other}}}"


def _run_text(run: Run, knowledge: Knowledge) -> str:
    notes = _notes_text(run.circumstances, knowledge)
    circumstances = f", circumstances: {notes}" if run.circumstances else ""
    return f"  - {{check: {run.check}, pattern: {json.dumps(run.pattern)}{circumstances}}}"


def _notes_text(notes: Mapping[str, float | str], knowledge: Knowledge) -> str:
    values = (
        f"{name}: {_quoted(value, UNITS.get(knowledge.circumstances[name].value, ''))}"
        for name, value in notes.items()
    )
    return "{" + ", ".join(values) + "}"


def _reading_text(reading: Reading, machine: Machine) -> str:
    unit = machine.parts[reading.part].measurement(reading.measurement).unit
    value = _quoted(NONE_STORED if reading.value == NO_CODE else reading.value, UNITS.get(unit, ""))
    return f"  - {{measurement: {reading.measurement}, part: {reading.part}, value: {value}}}"


def _quoted(value: float | str, unit: str) -> str:
    """The value with its unit, in quotes, so that no word or number is taken for something else.

    >>> _quoted(54.0, "C"), _quoted("on", ""), _quoted(5.0, "")
    ('"54.0 C"', '"on"', '"5"')
    """
    if isinstance(value, float) and not unit:
        return json.dumps(f"{value + 0.0:g}")  # without the sign that a zero can have
    return json.dumps(f"{value} {unit}".strip())
