"""Proposed acts as facts, so that rules can put advice and cautions beside them."""

from __future__ import annotations

from diagnose.knowledge.parts import Measurement, Remedy, Swap
from diagnose.machine.graph import Machine
from diagnose.rules.finding import Fact
from diagnose.rules.vocabulary import fact

_PRESSURE_GONE = "pressure gone"
"""What a part kind's file lists under ``needs`` of work near oil that may be under pressure."""


def rerun_act(act: str, check: str, rows: int) -> Fact:
    """A rerun of a check over that many rows.

    >>> rerun_act("response@5-7", "response", 3).values["what"]
    'rerun'
    """
    return fact("act", act=act, what="rerun", check=check, rows=rows)


def ask_act(act: str, circumstance: str) -> Fact:
    """A question about a circumstance.

    >>> ask_act("ask@oil", "oil").values["detail"]
    'oil'
    """
    return fact("act", act=act, what="ask", detail=circumstance)


def measure_act(act: str, machine: Machine, part: str, measurement: Measurement) -> Fact:
    """A measurement of, or a look at, a part.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> measurement = machine.parts["row-6/valve"].measurement("coil-voltage")
    >>> measure_act("volts", machine, "row-6/valve", measurement).values["live"]
    'yes'
    """
    return fact(
        "act",
        act=act,
        what=measurement.kind,
        part=part,
        part_kind=machine.parts[part].id,
        side=machine.parts[part].side,
        detail=measurement.id,
        at=measurement.at,
        tool=measurement.tool,
        opens_oil="yes" if measurement.tool == "gauge" else "no",
        live="yes" if measurement.unit == "V" else "no",
    )


def remedy_act(act: str, machine: Machine, part: str, remedy: Remedy) -> Fact:
    """A remedy of a part.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> remedy = machine.parts["supply/coupler"].remedy("reseat-coupler")
    >>> remedy_act("reseat", machine, "supply/coupler", remedy).values["opens_oil"]
    'yes'
    """
    return _work_act(act, "remedy", machine, part, remedy, at=remedy.at, price=remedy.parts_price)


def swap_act(act: str, machine: Machine, part: str, swap: Swap) -> Fact:
    """A swap of a part with the neighbour's.

    >>> from diagnose.machine.graph import load_machine
    >>> machine = load_machine("mounted-6")
    >>> swap = machine.parts["row-2/valve"].swap("swap-coil")
    >>> found = swap_act("swap", machine, "row-2/valve", swap).values
    >>> found["opens_oil"], found["at"]
    ('no', 'planter')
    """
    return _work_act(act, "swap", machine, part, swap, at="planter")


def _work_act(
    act: str, what: str, machine: Machine, part: str, work: Remedy | Swap, **more: str
) -> Fact:
    return fact(
        "act",
        act=act,
        what=what,
        part=part,
        part_kind=machine.parts[part].id,
        side=machine.parts[part].side,
        detail=work.id,
        opens_oil="yes" if work.opens != "nothing" or _PRESSURE_GONE in work.needs else "no",
        lets_air_in="yes" if work.opens == "line" else "no",
        **more,
    )
