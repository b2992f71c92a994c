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

from diagnose.version import __version__

if TYPE_CHECKING:
    from diagnose.api import plan, rank
    from diagnose.machine.graph import Machine, load_machine
    from diagnose.observations.case import Case
    from diagnose.observations.casefile import read_case_file
    from diagnose.observations.events import Reading, Remedied, Run, Swapped
    from diagnose.observations.result import Result
    from diagnose.observations.typed import read_typed
    from diagnose.planner.offers import next_tests
    from diagnose.planner.problem import Means
    from diagnose.reports.case import case_report
    from diagnose.reports.plan import plan_report
    from diagnose.reports.ranking import ranking_report

__all__ = [
    "Case",
    "Machine",
    "Means",
    "Reading",
    "Remedied",
    "Result",
    "Run",
    "Swapped",
    "__version__",
    "case_report",
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
    "Case": "diagnose.observations.case",
    "Machine": "diagnose.machine.graph",
    "Means": "diagnose.planner.problem",
    "Reading": "diagnose.observations.events",
    "Remedied": "diagnose.observations.events",
    "Result": "diagnose.observations.result",
    "Run": "diagnose.observations.events",
    "Swapped": "diagnose.observations.events",
    "case_report": "diagnose.reports.case",
    "load_machine": "diagnose.machine.graph",
    "next_tests": "diagnose.planner.offers",
    "plan": "diagnose.api",
    "plan_report": "diagnose.reports.plan",
    "rank": "diagnose.api",
    "ranking_report": "diagnose.reports.ranking",
    "read_case_file": "diagnose.observations.casefile",
    "read_typed": "diagnose.observations.typed",
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"expected one of {', '.join(__all__)} in diagnose, got {name!r}")
    return getattr(import_module(_HOMES[name]), name)
