"""The table of results can be read back, and what became worse is told."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.bench import results
from tests.bench.results import KEPT, QUICK, main, read_results


def test_every_line_of_the_table_is_read() -> None:
    lines = [line for line in KEPT.read_text(encoding="utf-8").splitlines() if line.startswith("|")]
    assert len(read_results("\n".join(lines))) == len(lines) - 2


def test_every_quick_figure_has_something_to_be_compared_with() -> None:
    kept = {one.figure for one in read_results(KEPT.read_text(encoding="utf-8"))}
    assert kept >= set(QUICK)


@pytest.mark.parametrize(("value", "told"), [("105", False), ("120", True), ("80", False)])
def test_what_fell_by_a_tenth_is_told_and_kept_when_asked(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    value: str,
    told: bool,
) -> None:
    table = tmp_path / "RESULTS.md"
    table.write_text("| plan | 100 | lower | 2026-12-01 | 663a90e |\n", encoding="utf-8")
    monkeypatch.setattr(results, "KEPT", table)
    monkeypatch.setattr(results, "commit", lambda: "0000000")
    main(["--keep", "plan", value])
    assert ("warning: plan fell" in capsys.readouterr().out) == told
    assert [one.value for one in read_results(table.read_text())] == [100, float(value)]
