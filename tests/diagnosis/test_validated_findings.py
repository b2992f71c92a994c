"""A rule that names what is not there is refused by its id, never a traceback."""

from __future__ import annotations

import pytest

from diagnose.diagnosis.evidence import Evidence
from diagnose.errors import FileProblems
from diagnose.rules.finding import RuleFinding
from tests.diagnosis.situations import ranked

STATE = {"run": 1, "check": "response", "circumstance": "oil", "state": "warm"}
PRIOR = {"part_kind": "valve", "mode": "any", "where": "all", "factor": 2.0}
READING = {"nth": 1, "part": "row-1/valve", "measurement": "coil-resistance", "result": "good"}


@pytest.mark.parametrize(
    ("kind", "values", "expected"),
    [
        ("state", STATE | {"state": "fitted"}, "a state of oil, got 'fitted'"),
        ("state", STATE | {"run": 9}, "a run of the case, got 9"),
        ("state", STATE | {"circumstance": "rodents"}, "a circumstance of runs, got 'rodents'"),
        ("prior", PRIOR | {"factor": -2.0}, "a factor above 0, got -2.0"),
        ("prior", PRIOR | {"mode": "seals_bypass"}, "a mode of valve, or any, got 'seals_bypass'"),
        ("prior", PRIOR | {"where": "row-99/valve"}, "all, ends or a part, got 'row-99/valve'"),
        ("reading", READING | {"part": "row-99/valve"}, "a part of mounted-6, got 'row-99/valve'"),
        ("reading", READING | {"result": "blue"}, "a result of coil-resistance, got 'blue'"),
    ],
)
def test_a_finding_about_nothing_is_refused(
    kind: str, values: dict[str, int | float | str], expected: str
) -> None:
    evidence = ranked("mounted-6", "response=FPPPPP").evidence
    wrong = RuleFinding("mine", kind, values, "says", (), ())
    with pytest.raises(FileProblems, match=f"rule mine: expected {expected}"):
        Evidence(evidence.model, evidence.case, (wrong,))


@pytest.mark.parametrize(
    ("kind", "values", "remedy"),
    [
        ("state", STATE | {"circumstance": "oill"}, "did you mean oil"),
        ("prior", PRIOR | {"factor": -2.0}, "mend the values that the rule gives"),
    ],
)
def test_what_to_try_is_said(kind: str, values: dict[str, int | float | str], remedy: str) -> None:
    evidence = ranked("mounted-6", "response=FPPPPP").evidence
    wrong = RuleFinding("mine", kind, values, "says", (), ())
    with pytest.raises(FileProblems, match=f"; {remedy}"):
        Evidence(evidence.model, evidence.case, (wrong,))
