"""Every page that is rendered, by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine
from diagnose.planner.readiness import read_readiness
from diagnose.reports.case import build_case_report, build_season_report
from diagnose.reports.listings import build_readiness_report
from diagnose.ui.html.page import readiness_page, report_page, season_page
from tests.reports.stories import (
    found_on_mounted_12,
    hostile,
    proven_on_mounted_12,
    section_on_folding_24,
    wing_on_folding_48,
)


def ready() -> str:
    """A sheet with something good, something bad and something to see to."""
    machine, knowledge = load_machine("folding-24"), load_knowledge()
    words = ["oil=15C", "engine=on", "supply=62bar", "first-hookup=yes"]
    return readiness_page(build_readiness_report(read_readiness(machine, words, knowledge)))


PAGES: Mapping[str, Callable[[], str]] = {
    "found-mounted-12": lambda: report_page(build_case_report(found_on_mounted_12())),
    "proven-mounted-12": lambda: report_page(build_case_report(proven_on_mounted_12())),
    "folding-24": lambda: report_page(build_case_report(section_on_folding_24())),
    "folding-48": lambda: report_page(build_case_report(wing_on_folding_48())),
    "hostile": lambda: report_page(build_case_report(hostile())),
    "ready": ready,
    "season": lambda: season_page(build_season_report(proven_on_mounted_12())),
}
