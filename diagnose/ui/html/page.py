"""Pages of HTML, each whole in one file: no scripts, nothing from elsewhere, all text escaped."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from diagnose.observations.rows import pattern_in_words, rows_in_words
from diagnose.reports.forms.case import CaseReport, SeasonReport
from diagnose.reports.forms.listings import ReadinessReport
from diagnose.ui.streams import visible
from diagnose.ui.svg.chart import CHART_LETTERS, draw_chart, sample
from diagnose.ui.svg.machine import Shown, bands, draw_band, draw_supply
from diagnose.ui.svg.picture import key, mark
from diagnose.ui.words import minutes_text, moment, outcome, percent, plain, sentence
from diagnose.version import __version__


def report_page(report: CaseReport) -> str:
    """The page of a report in the form ``rowfault/report/1``."""
    layout = report.layout
    cut = bands(layout.sections)
    marks = {row.row: row.mark for row in report.rows}
    shown = Shown(layout, marks, report.suspicion)
    return _page(
        "report.html",
        report=report,
        supply=_markup(draw_supply("supply", report.layout, report.suspicion).markup()),
        bands=[
            _markup(draw_band(f"band-{number}", band, shown).markup())
            for number, band in enumerate(cut, start=1)
        ],
        chart=_markup(draw_chart("chart", report.over_time).markup()),
        lines=[_markup(sample(number)) for number in range(len(report.over_time.causes))],
        letters=CHART_LETTERS,
        key=[(says, _markup(sign)) for says, sign in key()],
    )


def readiness_page(readiness: ReadinessReport) -> str:
    """The page of a sheet in the form ``rowfault/readiness/1``.

    >>> sheet = ReadinessReport(
    ...     machine="mine", name="<b>", rows=6, groups=(), likelier=(), questions=(), minutes=72,
    ...     cautions=(),
    ... )
    >>> page = readiness_page(sheet)
    >>> "<h1>Before the checks: mine</h1>" in page, "<b>" in page, "&lt;b&gt;" in page
    (True, False, True)
    """
    return _page("readiness.html", sheet=readiness)


def season_page(season: SeasonReport) -> str:
    """The page of a record in the form ``rowfault/season/1``."""
    return _page("season.html", record=season)


def _page(template: str, **data: object) -> str:
    return _environment().get_template(template).render(version=__version__, **data) + "\n"


def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("diagnose.ui.html"),
        autoescape=True,
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    for function in (minutes_text, percent, plain, sentence, moment):
        made.filters[function.__name__] = function
    made.filters |= {"rows": rows_in_words, "pattern": pattern_in_words, "outcome": outcome}
    made.globals["mark"] = lambda name: _markup(mark(name))
    return made


def _shown(value: object) -> object:
    """Text that cannot be seen is written out; what is markup already was made here."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _markup(drawn: str) -> Markup:
    """Markup made by `diagnose.ui.svg`, whose every text went in as text."""
    return Markup(drawn)
