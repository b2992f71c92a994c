"""What rules conclude is checked before it moves a probability: a user's own rule may be wrong."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from diagnose.diagnosis.model import Model
from diagnose.errors import FileProblems, Place, Problem, near_matches
from diagnose.observations.case import Case
from diagnose.rules.finding import RuleFinding


def check_findings(model: Model, case: Case, findings: Sequence[RuleFinding]) -> None:
    """Refuse states, priors and readings that name what is not there.

    Raises `FileProblems` with a problem for each such finding, under the id of its rule.

    >>> from diagnose import load_machine
    >>> from diagnose.knowledge.base import load_knowledge
    >>> model = Model(load_machine("mounted-6"), load_knowledge())
    >>> values = {"part_kind": "valve", "mode": "any", "where": "all", "factor": 0}
    >>> try:
    ...     check_findings(model, Case("mounted-6"), [RuleFinding("mine", "prior", values, "",
    ...     (), ())])
    ... except FileProblems as wrong:
    ...     print([problem.expected for problem in wrong.problems])
    ['a factor above 0']
    """
    checks = {"state": _state, "prior": _prior, "reading": _reading}
    problems = [
        problem
        for finding in findings
        if finding.kind in checks
        for problem in checks[finding.kind](model, case, finding)
    ]
    if problems:
        raise FileProblems(list(dict.fromkeys(problems)))


def _state(model: Model, case: Case, finding: RuleFinding) -> list[Problem]:
    kinds = model.knowledge.of_scope("run")
    kind = str(finding.values["circumstance"])
    problems = _among(
        finding, "a run of the case", finding.values["run"], [r.index for r in case.runs]
    )
    problems += _among(finding, "a circumstance of runs", kind, kinds)
    if kind in kinds:
        states = [state.id for state in kinds[kind].states]
        problems += _among(finding, f"a state of {kind}", finding.values["state"], states)
    return problems


def _prior(model: Model, case: Case, finding: RuleFinding) -> list[Problem]:
    kinds = model.knowledge.parts
    kind, where = str(finding.values["part_kind"]), finding.values["where"]
    problems = _among(finding, "a part kind", kind, kinds)
    if kind in kinds:
        modes = ["any", *(mode.id for mode in kinds[kind].modes)]
        problems += _among(finding, f"a mode of {kind}, or any", finding.values["mode"], modes)
    problems += _among(finding, "all, ends or a part", where, ["all", "ends", *model.machine.parts])
    if not float(finding.values["factor"]) > 0:
        problems.append(_problem(finding, "a factor above 0", finding.values["factor"]))
    return problems


def _reading(model: Model, case: Case, finding: RuleFinding) -> list[Problem]:
    parts, part = model.machine.parts, str(finding.values["part"])
    if part not in parts:
        return _among(finding, f"a part of {model.machine.id}", part, parts)
    made = {each.id: each for each in parts[part].measurements}
    name = str(finding.values["measurement"])
    problems = _among(finding, f"a measurement of {part}", name, made)
    if name in made:
        results = ["good", *(bad.id for bad in made[name].results)]
        problems += _among(finding, f"a result of {name}", finding.values["result"], results)
    return problems


def _among(finding: RuleFinding, what: str, got: object, known: Iterable[object]) -> list[Problem]:
    known = list(known)
    if got in known:
        return []
    near = near_matches(str(got), map(str, known))
    remedy = f"did you mean {' or '.join(near)}?" if near else ""
    return [_problem(finding, what, got, remedy)]


def _problem(finding: RuleFinding, expected: str, got: object, remedy: str = "") -> Problem:
    remedy = remedy or "mend the values that the rule gives"
    return Problem(Place(f"rule {finding.rule}"), expected, repr(got), remedy)
