"""The forms of lists, and of the readiness sheet."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from pydantic import JsonValue

from diagnose.reports.forms.base import Frozen, Moment, Report

Places = Mapping[str, tuple[int, ...]]
"""The rows of each place."""


class ListedMachine(Frozen):
    """A machine: its id, name and number of rows."""

    id: str
    name: str
    rows: int


class MachinesReport(Report):
    """Every machine that is known."""

    form: Literal["rowfault/machines/1"] = "rowfault/machines/1"
    machines: tuple[ListedMachine, ...]


class PartReport(Frozen):
    """A part: its kind, the parts that it needs, the checks that show it, the rows it reaches."""

    id: str
    kind: str
    needs: tuple[str, ...]
    checks: tuple[str, ...]
    rows: tuple[int, ...]


class MachineFacts(Report):
    """A machine, or with ``row`` what that row depends on: places with their rows, and parts."""

    form: Literal["rowfault/machine/1"] = "rowfault/machine/1"
    machine: str
    name: str
    rows: int
    row: int | None
    sections: Places
    branches: Places
    controllers: Places
    ports: Places
    chains: Places
    parts: tuple[PartReport, ...]


class ListedRule(Frozen):
    """A rule: its id, its group and what it says, with the names of what it fills in."""

    id: str
    group: str
    says: str


class RulesReport(Report):
    """The rules in use."""

    form: Literal["rowfault/rules/1"] = "rowfault/rules/1"
    rules: tuple[ListedRule, ...]


class ListedCase(Frozen):
    """A case in the casebook; ``minutes`` from its opening to its last entry."""

    case: str
    machine: str
    title: str
    opened: Moment
    last: Moment
    outcome: str
    causes: tuple[str, ...]
    rows_failed: tuple[int, ...]
    minutes: float
    owner: str


class CasesReport(Report):
    """Cases of the casebook, the latest first."""

    form: Literal["rowfault/cases/1"] = "rowfault/cases/1"
    cases: tuple[ListedCase, ...]


class SortCovered(Frozen):
    """How many of a sort some worked case exercises, and which none does."""

    met: int
    missing: tuple[str, ...]


class CoverageReport(Report):
    """What the worked cases exercise, by sort: layouts, part kinds, modes, rules, acts."""

    form: Literal["rowfault/coverage/1"] = "rowfault/coverage/1"
    sorts: Mapping[str, SortCovered]


class PageReport(Frozen):
    """A page of the manual: its sort, its text as Markdown, and the data it was made from."""

    sort: str
    text: str
    data: Mapping[str, JsonValue]


class ExplanationReport(Report):
    """The pages about a topic; all of them when ``id`` is empty."""

    form: Literal["rowfault/explanation/1"] = "rowfault/explanation/1"
    id: str
    pages: tuple[PageReport, ...]


class ItemReport(Frozen):
    """One thing to see to: what it is about, how it stands, what is done, minutes, cautions."""

    id: str
    about: str
    standing: Literal["good", "bad", "to see to"]
    says: str
    does: str | None
    minutes: float
    cautions: tuple[str, ...]


class GroupReport(Frozen):
    """What is seen to together: before all else, for every check, or for one of them."""

    id: str
    title: str
    needs: tuple[str, ...]
    items: tuple[ItemReport, ...]
    cautions: tuple[str, ...]


class QuestionReport(Frozen):
    """What is worth knowing of the machine's past."""

    id: str
    question: str
    choices: tuple[str, ...]


class ReadinessReport(Report):
    """What to see to, what is likelier after what was said, and what is worth asking."""

    form: Literal["rowfault/readiness/1"] = "rowfault/readiness/1"
    machine: str
    name: str
    rows: int
    groups: tuple[GroupReport, ...]
    likelier: tuple[str, ...]
    questions: tuple[QuestionReport, ...]
    minutes: float
    cautions: tuple[str, ...]
