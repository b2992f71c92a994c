"""What rules make of a case is worked out once, and passed on to all that want it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.diagnosis.causes import Ranking
from diagnose.observations.archive import story_text
from diagnose.rules.engine import Item, Match, Stratum
from diagnose.rules.loading import load_rules
from diagnose.ui.cli.root import rowfault
from tests.reports.stories import section_on_folding_24

ACT = "act"
Asked = Counter[tuple[int, tuple[str, ...]]]


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Asked:
    """Which group of rules was asked about which facts of a case, and how often.

    The past that a case might have is asked about without its machine, and for every case alike.
    """
    found: Asked = Counter()
    matches = Stratum.matches

    def counted(self: Stratum, items: Sequence[Item]) -> list[Match]:
        facts = tuple(f"{item}" for item in items if item.kind != ACT)
        if any(item.kind == "machine" for item in items):
            found[id(self), facts] += 1
        return matches(self, items)

    monkeypatch.setattr(Stratum, "matches", counted)
    return found


def run(*words: str) -> None:
    result = CliRunner().invoke(rowfault, words, prog_name="rowfault")
    assert result.exit_code == 0, result.output


@pytest.mark.parametrize("command", ["rank", "plan"])
def test_a_command_asks_each_group_of_rules_once(command: str, asked: Asked) -> None:
    """Those about acts too, however many acts are in the answer."""
    run(command, "mounted-12", "response=PPPPFPPPPPPP")
    strata = [*load_rules().strata, load_rules().about_acts]
    assert Counter(id for id, _ in asked.elements()) == Counter(map(id, strata))


def test_a_report_asks_about_what_is_known_now_as_often_as_about_any_earlier_point(
    asked: Asked, tmp_path: Path
) -> None:
    """Though the last point of its chart, the ranking and the plan are about the same case."""
    path = tmp_path / "case.yaml"
    path.write_text(story_text(section_on_folding_24()), encoding="utf-8")
    run("report", str(path), "-o", "-", "--format", "json")
    about_acts = id(load_rules().about_acts)
    assert {times for (rules, _), times in asked.items() if rules != about_acts} == {1}


def test_work_ranks_anew_only_when_something_was_observed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No two rankings that a conversation works out are of one case."""
    ranked: list[Ranking] = []
    posterior = Ranking.__init__

    def made(self: Ranking, *args: object) -> None:
        posterior(self, *args)  # type: ignore[arg-type]
        if self.evidence.facts:
            ranked.append(self)

    monkeypatch.setattr(Ranking, "__init__", made)
    answers = Path(__file__).parent.parent / "casebook" / "answers" / "swapped-coil.txt"
    run("work", "mounted-12", "--scratch", "--who", "Ann", "--answers", str(answers))
    cases = [each.evidence.case for each in ranked]
    assert len(cases) == len(set(map(repr, cases))) > 3
