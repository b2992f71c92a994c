"""Files with thousands of faults are told of in few lines."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from diagnose.ui.cli.root import rowfault

MANY = 2_000
LAYOUT = """id: big
name: big
rows: {rows}
sections:
{sections}branches:
  - {{id: harness-1, rows: 1-6, controller: controller-1}}
controllers:
  - {{id: controller-1}}
"""
ONE = "  - {id: section-1, rows: 1-6}\n"


def told(tmp_path: Path, text: str) -> list[str]:
    """The lines that checking a layout prints."""
    path = tmp_path / "big.yaml"
    path.write_text(text, encoding="utf-8")
    result = CliRunner().invoke(rowfault, ["machine", "check", str(path)])
    assert result.exit_code == 1
    return result.stderr.splitlines()


def test_unknown_fields_by_the_thousand_are_counted(tmp_path: Path) -> None:
    extra = "".join(f"field{n}: 3\n" for n in range(MANY))
    lines = told(tmp_path, LAYOUT.format(rows=6, sections=ONE) + extra)
    assert (lines[0], len(lines)) == (f"Error: {MANY:,} things are wrong", 22)
    assert lines[-1] == f"  and {MANY - 20:,} more"


def test_more_sections_than_rows_are_one_fault(tmp_path: Path) -> None:
    sections = "".join(f"  - {{id: S_{n}, rows: 1-6, fed_from: x{n}}}\n" for n in range(MANY))
    [line] = told(tmp_path, LAYOUT.format(rows=6, sections=sections))
    assert "expected at most 6 sections, one for each row, got 2,000; look at rows:" in line


def test_extra_parts_by_the_thousand_are_one_fault(tmp_path: Path) -> None:
    extra = "extra:\n" + "".join(
        f"  - {{id: supply/x{n}, kind: nothing{n}, needs: [row-9/x{n}]}}\n" for n in range(1000)
    )
    [line] = told(tmp_path, LAYOUT.format(rows=6, sections=ONE) + extra)
    assert "expected at most 200 extra parts, got 1,000" in line


@pytest.mark.parametrize("rows", ["1," * 3000 + "2", "x" * 3000])
def test_long_rows_are_cut(tmp_path: Path, rows: str) -> None:
    section = f"  - {{id: section-1, rows: '{rows}'}}\n"
    assert max(map(len, told(tmp_path, LAYOUT.format(rows=6, sections=section)))) < 200
