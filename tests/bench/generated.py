"""A generated layout of any size: sections of 6, branches of 8 (invented)."""

from __future__ import annotations

from pathlib import Path


def layout(rows: int) -> str:
    """The text of a layout file."""
    sections = _spans(rows, 6)
    lines = [f"id: generated-{rows}", f"name: generated, {rows} rows (invented layout)"]
    lines += ["says: Made for measuring time and memory.", f"rows: {rows}", "sections:"]
    lines += [
        f"  - {{id: section-{n}, rows: {first}-{last}, feed: star}}"
        for n, (first, last) in enumerate(sections, 1)
    ]
    lines += ["branches:"]
    lines += [
        f"  - {{id: harness-{n}, rows: {first}-{last}, controller: controller-1}}"
        for n, (first, last) in enumerate(_spans(rows, 8), 1)
    ]
    lines += ["controllers:", "  - {id: controller-1}", "ports:"]
    lines += [
        f"  - {{id: port-{n}, at: {first}, rows: {first}-{last}}}"
        for n, (first, last) in enumerate(sections, 1)
    ]
    return "\n".join(lines) + "\n"


def _spans(rows: int, size: int) -> list[tuple[int, int]]:
    return [(first, min(first + size - 1, rows)) for first in range(1, rows + 1, size)]


def write_layout(folder: Path, rows: int) -> Path:
    """The layout as a file; its path."""
    path = folder / f"generated-{rows}.yaml"
    path.write_text(layout(rows), encoding="utf-8")
    return path
