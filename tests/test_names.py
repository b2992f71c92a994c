"""A public name means one thing, wherever in the program it is met."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

PROGRAM = Path(__file__).parents[1] / "diagnose"
FROZEN = PROGRAM / "store" / "migrations"
"""Steps from one form of the database to the next: each keeps what was true in its time."""


def defined(path: Path) -> Iterator[str]:
    """The public names that a module defines: functions, classes, and what it assigns."""
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        match node:
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                names = [name]
            case ast.Assign(targets=targets):
                names = [each.id for target in targets for each in _names(target)]
            case ast.AnnAssign(target=ast.Name(id=name)):
                names = [name]
            case _:
                names = []
        yield from (name for name in names if not name.startswith("_"))


def _names(target: ast.expr) -> list[ast.Name]:
    names = [node for node in ast.walk(target) if isinstance(node, ast.Name)]
    return [name for name in names if isinstance(name.ctx, ast.Store)]


def test_no_public_name_is_defined_in_two_modules() -> None:
    places: defaultdict[str, set[str]] = defaultdict(set)
    for path in sorted(PROGRAM.rglob("*.py")):
        for name in () if path.is_relative_to(FROZEN) else defined(path):
            places[name].add(str(path.relative_to(PROGRAM)))
    assert {name: found for name, found in places.items() if len(found) > 1} == {}
