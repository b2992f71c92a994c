"""The plan for one case, in the form ``rowfault/plan/1``."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Frozen, Report


class ActReport(Frozen):
    """An act: its id, kind and words, minutes from where it stands, what it needs, cautions."""

    id: str
    kind: str
    says: str
    minutes: float
    needs: tuple[str, ...]
    cautions: tuple[str, ...]


class EndReport(Frozen):
    """Where a plan ends, with the likeliest cause there, and what is left to do, in order."""

    conclusion: Literal["proven", "prove", "hand-over", "isolated", "open"]
    says: str
    leading: str | None
    leading_probability: float | None
    acts: tuple[ActReport, ...]


class BranchReport(Frozen):
    """One outcome of an act, how likely it is, and what follows."""

    result: str
    probability: float
    then: StepReport | EndReport


class StepReport(Frozen):
    """One act, and what follows each of its outcomes."""

    act: ActReport
    outcomes: tuple[BranchReport, ...]


class ExpectedMinutes(Frozen):
    """Mean minutes until all is well: by repairs alone, by the plan; and of the final pass."""

    repair_only: float
    plan: float
    final_pass: float


class IsolatingReport(Frozen):
    """Tests that are all chosen now: ids, minutes, the groups of causes that they tell apart.

    ``optimal`` says that no cheaper set does as much; else the minutes are at most ``guarantee``
    times those of the cheapest.
    """

    acts: tuple[str, ...]
    minutes: float
    separates: tuple[tuple[str, ...], ...]
    optimal: bool
    guarantee: float


class InseparableReport(Frozen):
    """Causes that no test at hand tells apart, and whether one remedy does for all."""

    causes: tuple[str, ...]
    same_remedy: bool


class PlanReport(Report):
    """What to do, what each outcome would mean, and what to do then.

    ``exact`` and ``depth_reached`` say how far ahead the first act was weighed; ``about_rows``
    which rows the plan is about, ``other_rows`` those that fail for a cause of their own;
    ``summary`` what to tell somebody who takes the case over; ``proof`` what proves the machine
    good, or what is missing.
    """

    form: Literal["rowfault/plan/1"] = "rowfault/plan/1"
    machine: str
    goal: Literal["restore", "isolate"]
    exact: bool
    depth_reached: int
    expected_minutes: ExpectedMinutes
    about_rows: tuple[int, ...]
    other_rows: tuple[tuple[int, ...], ...]
    tree: StepReport | EndReport
    isolating: IsolatingReport | None
    inseparable: tuple[InseparableReport, ...]
    summary: tuple[str, ...]
    proven: bool
    proof: str
    priors: str
