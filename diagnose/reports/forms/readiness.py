"""What to see to before the checks, in the form ``rowfault/readiness/1``."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Frozen, Report


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
