"""rowfault: why rows failed their hydraulic downforce checks, and what to do next.

The public names are loaded when they are first used, so that importing the package is quick.

>>> import diagnose
>>> machine = diagnose.load_machine("mounted-6")
>>> case = diagnose.read_typed(machine, ["response=PPPPPF", "oil=54C"])
>>> diagnose.rank(machine, case).evidence.case.runs[0].pattern
'PPPPPF'
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from diagnose.cases.case import Case, Reading, Remedied, Result, Run, Swapped
    from diagnose.cases.casefile import read_case_file
    from diagnose.cases.typed import read_typed
    from diagnose.machine.graph import Machine, load_machine
    from diagnose.planreport import plan, plan_report
    from diagnose.report import rank, ranking_report
    from diagnose.retest.choose import next_tests
    from diagnose.retest.scene import Means

__version__ = "0.1.0"

__all__ = [
    "Case",
    "Machine",
    "Means",
    "Reading",
    "Remedied",
    "Result",
    "Run",
    "Swapped",
    "load_machine",
    "next_tests",
    "plan",
    "plan_report",
    "rank",
    "ranking_report",
    "read_case_file",
    "read_typed",
]

_HOMES = {
    "Case": "diagnose.cases.case",
    "Machine": "diagnose.machine.graph",
    "Means": "diagnose.retest.scene",
    "Reading": "diagnose.cases.case",
    "Remedied": "diagnose.cases.case",
    "Result": "diagnose.cases.case",
    "Run": "diagnose.cases.case",
    "Swapped": "diagnose.cases.case",
    "load_machine": "diagnose.machine.graph",
    "next_tests": "diagnose.retest.choose",
    "plan": "diagnose.planreport",
    "plan_report": "diagnose.planreport",
    "rank": "diagnose.report",
    "ranking_report": "diagnose.report",
    "read_case_file": "diagnose.cases.casefile",
    "read_typed": "diagnose.cases.typed",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"expected one of {', '.join(__all__)} in diagnose, got {name!r}")
    return getattr(import_module(_HOMES[name]), name)
