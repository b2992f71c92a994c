"""The forms of a ranking and of a plan, and of the layout that they stand on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from diagnose.reports.forms.base import Frozen, Report

Standing = Literal["sound", "weak", "void"]
"""How far a run can be relied on."""


class RunReport(Frozen):
    """A run: its check, a letter for each row, how far it can be relied on, and why."""

    check: str
    pattern: str
    standing: Standing
    why: tuple[str, ...]


class FindingReport(Frozen):
    """What a rule found: the rule, the kind of finding, in words, about what, from which facts."""

    rule: str
    kind: str
    says: str
    about: tuple[str, ...]
    because: tuple[str, ...]


class WeightReport(Frozen):
    """What moves a cause: in words, by how much in natural log odds, and how strongly in words."""

    says: str
    log_odds: float
    words: str


class RemedyReport(Frozen):
    """What is done about a cause, with minutes, the price class of its parts, and what it needs."""

    id: str
    does: str
    minutes: float
    parts_price: str
    needs: tuple[str, ...]
    caution: str | None


class CauseReport(Frozen):
    """A cause: the rows that it reaches, how likely it is now and was before anything was seen.

    ``low`` and ``high`` are proven limits of ``probability``, and equal it where that is exact.

    ``for`` and ``against`` say what was seen that speaks either way, of the likeliest causes
    only; ``rules`` which rules name it.
    """

    id: str
    part: str
    mode: str
    says: str
    rows: tuple[int, ...]
    group: str
    probability: float
    low: float
    high: float
    prior: float
    for_: tuple[WeightReport, ...]
    against: tuple[WeightReport, ...]
    rules: tuple[str, ...]
    remedy: RemedyReport | None


class TogetherReport(Frozen):
    """Causes that explain the failures only together, and how likely all of them are there."""

    causes: tuple[str, ...]
    probability: float
    says: str


class FragileReport(Frozen):
    """A group of priors that, moved by ``factor``, would put another cause on top."""

    group: str
    factor: float
    top: str
    says: str


class OutcomeReport(Frozen):
    """How an act may turn out, how likely, and the likeliest cause for the row then."""

    result: str
    probability: float
    leads_to: str
    leads_to_probability: float


class NextReport(Frozen):
    """Something to do next.

    ``minutes`` is what it takes, ``expected_minutes`` the mean until all is well when it comes
    first, ``bits`` what it tells, ``required`` that it comes before anything else.
    """

    id: str
    kind: str
    says: str
    rows: tuple[int, ...]
    minutes: float
    expected_minutes: float | None
    bits: float
    required: bool
    blames_row: int
    trouble_rows: tuple[int, ...]
    needs: tuple[str, ...]
    cautions: tuple[str, ...]
    outcomes: tuple[OutcomeReport, ...]


class RankingReport(Report):
    """What may be wrong, why, and what to do next.

    ``causes`` are those of at least 0.0005, most probable first; ``groups`` the chance of at
    least one cause in each place; ``left_out`` what too many failing runs left unsaid; ``next``
    what to do, or ``instead`` what to do when no row fails; ``put_back`` what has to go home
    before anything counts as fixed; ``priors`` which set was used.
    """

    form: Literal["rowfault/ranking/1"] = "rowfault/ranking/1"
    machine: str
    rows: int
    sections: Mapping[str, tuple[int, ...]]
    branches: Mapping[str, tuple[int, ...]]
    runs: tuple[RunReport, ...]
    findings: tuple[FindingReport, ...]
    causes: tuple[CauseReport, ...]
    together: tuple[TogetherReport, ...]
    groups: Mapping[str, float]
    fragile: tuple[FragileReport, ...]
    left_out: tuple[str, ...]
    next: tuple[NextReport, ...]
    instead: tuple[str, ...]
    proven: bool
    put_back: tuple[str, ...]
    exact: bool
    sharper: str | None
    log_evidence: float
    priors: str
    cautions: tuple[str, ...]


class SectionReport(Frozen):
    """A section: its rows, how and in which order oil reaches them, and from which section."""

    id: str
    rows: tuple[int, ...]
    feed: Literal["chain", "star"]
    order: tuple[int, ...]
    fed_from: str | None


class HarnessReport(Frozen):
    """A branch of wiring: its rows and its controller."""

    id: str
    rows: tuple[int, ...]
    controller: str | None


class PortReport(Frozen):
    """A bleed port: the row at which it is, and the rows whose air leaves through it."""

    id: str
    at: int
    rows: tuple[int, ...]


class ExtraReport(Frozen):
    """A part that a layout adds."""

    id: str
    name: str


class LayoutReport(Frozen):
    """Sections, branches of wiring, controllers, bleed ports and further parts."""

    sections: tuple[SectionReport, ...]
    branches: tuple[HarnessReport, ...]
    controllers: tuple[str, ...]
    ports: tuple[PortReport, ...]
    extras: tuple[ExtraReport, ...]


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
