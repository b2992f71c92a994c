"""Every kind of JSON document: its name, its type, and the command that prints it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue

from diagnose.errors import Place, UnknownName
from diagnose.record import record
from diagnose.reports.forms.base import Report

DIALECT = "https://json-schema.org/draft/2020-12/schema"


@record
class DocumentKind:
    """A kind of document: what its type is called and where it is, and what prints it.

    A type is loaded when it is asked for, for some are slow to import.
    """

    place: str
    printed_by: str

    @property
    def model(self) -> type[Report]:
        """Its type."""
        module, _, name = self.place.rpartition(".")
        found: type[Report] = getattr(import_module(f"diagnose.reports.forms.{module}"), name)
        return found

    @property
    def says(self) -> str:
        """What it holds, in its first sentence.

        >>> DOCUMENTS["rules"].says
        'The rules in use.'
        """
        return _paragraphs(str(self.model.__doc__)).partition("\n")[0]


DOCUMENTS: Mapping[str, DocumentKind] = {
    "ranking": DocumentKind("ranking.RankingReport", "rank --json"),
    "plan": DocumentKind("ranking.PlanReport", "plan --json"),
    "report": DocumentKind("case.CaseReport", "report CASE -o FILE.json"),
    "readiness": DocumentKind("listings.ReadinessReport", "ready --json"),
    "season": DocumentKind("case.SeasonReport", "ready --case CASE --json"),
    "cases": DocumentKind("listings.CasesReport", "cases list --json"),
    "case": DocumentKind("case.StoryReport", "cases show --json"),
    "lesson": DocumentKind("training.LessonReport", "cases learn --show --json"),
    "coverage": DocumentKind("listings.CoverageReport", "cases coverage --json"),
    "drill": DocumentKind("training.DrillReport", "drill --play PLAYER --json"),
    "drills": DocumentKind("training.DrillsReport", "drill --play PLAYER --json"),
    "progress": DocumentKind("training.ProgressReport", "drill --progress --json"),
    "machines": DocumentKind("listings.MachinesReport", "machine list --json"),
    "machine": DocumentKind("listings.MachineFacts", "machine show --json"),
    "rules": DocumentKind("listings.RulesReport", "rules list --json"),
    "explanation": DocumentKind("listings.ExplanationReport", "explain --json"),
}
"""By the name that stands in a document's ``schema``, between the strokes."""


class _Untitled(GenerateJsonSchema):
    """JSON Schema without a title at every field that says its name once more."""

    def field_title_should_be_set(self, schema: object) -> bool:
        return False


def schema_of(name: str) -> JsonSchemaValue:
    """The JSON Schema (draft 2020-12) of a kind of document. Raises `UnknownName`.

    >>> schema_of("rules")["properties"]["schema"]
    {'const': 'rowfault/rules/1', 'default': 'rowfault/rules/1', 'type': 'string'}
    """
    if name not in DOCUMENTS:
        raise UnknownName(Place("schema"), "a kind of document", name, DOCUMENTS, "rowfault schema")
    model = DOCUMENTS[name].model
    made = model.model_json_schema(schema_generator=_Untitled, mode=model.SCHEMA_OF)
    for piece in (made, *made.get("$defs", {}).values()):
        if "description" in piece:
            piece["description"] = _paragraphs(piece["description"])
        if "properties" in piece:
            piece["required"] = list(_always_there(piece))
    return {"$schema": DIALECT, **made}


def _always_there(piece: JsonSchemaValue) -> Iterator[str]:
    """The fields that are never missing; what says of which kind a thing is, is one of them."""
    for name, field in piece.get("properties", {}).items():
        if "const" in field or name in piece.get("required", ()):
            yield name


def _paragraphs(text: str) -> str:
    r"""A docstring with one line for each paragraph.

    >>> _paragraphs("One of\nthem.\n\n``minutes`` of work.")
    'One of them.\n\n`minutes` of work.'
    """
    return "\n\n".join(" ".join(each.split()) for each in text.replace("``", "`").split("\n\n"))
