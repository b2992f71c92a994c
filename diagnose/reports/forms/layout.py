"""How a machine is plumbed and wired, as far as a drawing needs it."""

from __future__ import annotations

from typing import Literal

from diagnose.reports.forms.base import Frozen


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
