"""Every command's JSON has a type, a schema that says no more and no less, and a page."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from typing import Any

import click
import pytest
from click.testing import CliRunner
from jsonschema import Draft202012Validator

import diagnose.reports.forms
from diagnose.observations.archive import story_text
from diagnose.reports.forms.base import Report
from diagnose.reports.listings import build_coverage_report
from diagnose.reports.schemas import DOCUMENTS, schema_of
from diagnose.store.casebook import open_casebook
from diagnose.training.record import Finished, Opportunity
from diagnose.training.worked_cases import Coverage
from diagnose.ui.cli.root import rowfault
from tests.reports.stories import hostile, proven_on_mounted_12, section_on_folding_24

PROVEN = proven_on_mounted_12()
CASE = "20260314-mounted-12-0a1b2c"
PLAYED = ("drill", "mounted-6", "--level", "1", "--seed", "3", "--play", "practice", "--json")
RUN = ("response=PPPPPF", "oil=54C", "first-hookup=yes", "coil-resistance@row-6=OL")
COMMANDS: list[tuple[str, tuple[str, ...]]] = [
    ("ranking", ("rank", "mounted-6", *RUN, "--json")),
    ("ranking", ("rank", "mounted-6", "bleed=PPPPPP", "response=PPPPPP", "--json")),
    ("plan", ("plan", "mounted-6", *RUN, "--json")),
    ("plan", ("plan", "mounted-6", "bleed=PPPPPP", "response=PPPPPP", "oil=54C", "--json")),
    ("plan", ("plan", "mounted-12", "response=PPPPFFFFPPPP", "--goal", "isolate", "--json")),
    ("report", ("report", CASE, "-o", "-", "--format", "json")),
    ("report", ("report", "open.yaml", "-o", "-", "--format", "json")),
    ("report", ("report", "hostile.yaml", "-o", "-", "--format", "json")),
    ("readiness", ("ready", "mounted-12", "oil=15C", "first-hookup=yes", "--json")),
    ("season", ("ready", "--case", CASE, "--json")),
    ("cases", ("cases", "list", "--json")),
    ("case", ("cases", "show", CASE, "--json")),
    ("lesson", ("cases", "learn", "--show", "--json")),
    ("drills", PLAYED),
    ("progress", ("drill", "--progress", "--who", "sam", "--json")),
    ("progress", ("drill", "--progress", "--who", "nobody", "--json")),
    ("machines", ("machine", "list", "--json")),
    ("machine", ("machine", "show", "folding-24", "--json")),
    ("machine", ("machine", "show", "folding-24", "--row", "3", "--json")),
    ("rules", ("rules", "list", "--json")),
    ("explanation", ("explain", "oil", "--json")),
]
"""Kinds with commands that print them; a ``drill`` stands inside of ``drills``."""
SLOW = {"coverage": ("cases", "coverage", "--json")}
"""What takes a minute to work out: a small one of the kind is made by hand."""


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A casebook with a case and a drill, and two exported cases."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("ROWFAULT_CASEBOOK", f"sqlite:///{tmp_path / 'book.db'}")
    for name, told in (("open", section_on_folding_24()), ("hostile", hostile())):
        (tmp_path / f"{name}.yaml").write_text(story_text(told), encoding="utf-8")
    seen = tuple(Opportunity("prove", move, move > 1) for move in (1, 2, 3))
    with open_casebook() as casebook:
        casebook.begin(PROVEN[0])
        casebook.add(CASE, *PROVEN[1:])
        casebook.keep_drill(Finished("sam", "", "mounted-6", 1, 90, 80.0, True, seen))


def printed(words: tuple[str, ...]) -> dict[str, Any]:
    result = CliRunner().invoke(rowfault, [*words], prog_name="rowfault")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def kind(document: dict[str, Any]) -> str:
    return str(document["schema"].split("/")[1])


@pytest.mark.usefixtures("at_home")
@pytest.mark.parametrize(("kind", "words"), COMMANDS, ids=[" ".join(each) for _, each in COMMANDS])
def test_what_a_command_prints_follows_the_schema_that_a_script_is_given(
    kind: str, words: tuple[str, ...]
) -> None:
    document = printed(words)
    assert document["schema"].split("/")[1] == kind
    Draft202012Validator(printed(("schema", kind))).validate(document)


def test_a_report_of_what_worked_cases_exercise_follows_its_schema() -> None:
    seen = Coverage({"acts": frozenset({"swap"})}, {"acts": ("ask", "swap")})
    data = build_coverage_report(seen).plain()
    Draft202012Validator(schema_of("coverage")).validate(data)
    assert data["sorts"] == {"acts": {"met": 1, "missing": ["ask"]}}


def test_every_kind_is_printed_by_some_command() -> None:
    assert {kind for kind, _ in COMMANDS} | {"drill", *SLOW} == {*DOCUMENTS}


def json_commands(command: click.Command, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The commands that have ``--json``."""
    if any("--json" in parameter.opts for parameter in command.params):
        yield path
    for name, below in getattr(command, "commands", {}).items():
        yield from json_commands(below, (*path, name))


def test_every_command_with_json_is_tried_and_named_as_what_prints_a_kind() -> None:
    every = list(json_commands(rowfault))
    tried = [words for _, words in COMMANDS if "--json" in words] + [*SLOW.values()]
    named = [tuple(document.printed_by.split()) for document in DOCUMENTS.values()]
    for path in every:
        assert any(words[: len(path)] == path for words in tried), path
        assert any(words[: len(path)] == path for words in named), path


def test_what_documents_look_like_is_known_without_what_makes_them() -> None:
    """The manual, which has a page for each, is quick and goes into a wheel with few libraries."""
    every = ", ".join(f"'{name}'" for name in DOCUMENTS)
    code = (
        "import sys; from diagnose.reports.schemas import schema_of\n"
        f"for name in ({every}): schema_of(name)\n"
        "print(*{'numpy', 'sqlalchemy', 'rich', 'durable', 'diagnose.api'} & {*sys.modules})"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == ""


def test_every_type_of_document_has_a_name() -> None:
    modules = [
        import_module(f"diagnose.reports.forms.{each.name}")
        for each in iter_modules(diagnose.reports.forms.__path__)
    ]
    types = {
        each
        for module in modules
        for each in vars(module).values()
        if isinstance(each, type) and issubclass(each, Report) and each is not Report
    }
    assert types == {document.model for document in DOCUMENTS.values()}


@pytest.mark.parametrize("name", DOCUMENTS)
def test_a_schema_is_one_says_what_it_is_about_and_names_the_kind(name: str) -> None:
    schema = schema_of(name)
    Draft202012Validator.check_schema(schema)
    assert schema["properties"]["schema"]["const"].split("/")[:2] == ["rowfault", name]
    assert schema["description"]
    pieces = [each for each in schema.get("$defs", {}).values() if "properties" in each]
    assert [piece["title"] for piece in pieces if not piece.get("description")] == []


def spoiled(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """The document with a field too many, and with each of its fields missing or of no type."""
    yield document | {"new": 1}
    for name in document:
        yield {other: value for other, value in document.items() if other != name}
        yield document | {name: object}


@pytest.mark.usefixtures("at_home")
@pytest.mark.parametrize("words", [COMMANDS[0][1], COMMANDS[8][1]], ids=" ".join)
def test_a_document_with_a_field_too_many_missing_or_wrong_is_refused(
    words: tuple[str, ...],
) -> None:
    document = printed(words)
    validator = Draft202012Validator(schema_of(document["schema"].split("/")[1]))
    assert validator.is_valid(document)
    assert [each for each in spoiled(document) if validator.is_valid(each)] == []


def test_an_unknown_kind_is_refused_with_the_nearest_names() -> None:
    result = CliRunner().invoke(rowfault, ["schema", "rankin"], prog_name="rowfault")
    assert (result.exit_code, "did you mean ranking?" in result.stderr) == (1, True)


def test_alone_the_command_lists_every_kind_with_what_prints_it() -> None:
    listed = CliRunner().invoke(rowfault, ["schema"], prog_name="rowfault").stdout.splitlines()
    assert [line.partition(":")[0] for line in listed[::2]] == [*DOCUMENTS]
    assert listed[1::2] == [f"    rowfault {each.printed_by}" for each in DOCUMENTS.values()]
