"""The manual page of a kind of JSON document, written from its JSON Schema."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from pydantic.json_schema import JsonSchemaValue

from diagnose.reports.schemas import DOCUMENTS, schema_of
from diagnose.ui.manual.pages import page

HOW = (
    "`rowfault schema {name}` prints this as JSON Schema. Numbers that are no counts may have a "
    "fraction; times are minutes, chances go from 0 to 1."
)

TYPES = {
    "string": "text",
    "integer": "whole number",
    "number": "number",
    "boolean": "true or false",
    "null": "null",
}


def schema_page(name: str) -> str:
    """What a kind of document holds, what prints it, and every field with its type.

    >>> lines = schema_page("machines").splitlines()
    >>> lines[0], lines[lines.index("## Fields") + 4]
    ('# JSON document machines', 'machines  list of ListedMachine')
    """
    schema = schema_of(name)
    pieces: Mapping[str, JsonSchemaValue] = schema.get("$defs", {})
    return page(
        f"JSON document {name}",
        ("What it holds", _says(schema)),
        ("What prints it", f"    rowfault {DOCUMENTS[name].printed_by}\n\n{HOW.format(name=name)}"),
        ("Fields", _fields(schema)),
        *((each, f"{_says(piece)}\n\n{_fields(piece)}".strip()) for each, piece in pieces.items()),
    )


def _says(schema: JsonSchemaValue) -> str:
    """The description; names of fields are no ids of pages, so they are set in italics."""
    return str(schema.get("description", "")).replace("`", "*")


def _fields(schema: JsonSchemaValue) -> str:
    """A line for each field, or for the one thing that a piece without fields is."""
    fields: Mapping[str, JsonSchemaValue] = schema.get("properties", {})
    needed, width = schema.get("required", ()), max(map(len, fields), default=0)
    lines = [
        f"{name:<{width}}  {type_in_words(field)}{'' if name in needed else ', may be missing'}"
        for name, field in fields.items()
    ]
    return "\n".join(["```text", *(lines or [type_in_words(schema)]), "```"])


def type_in_words(schema: JsonSchemaValue) -> str:
    """The type of a field in a few words.

    >>> type_in_words({"type": "array", "items": {"anyOf": [{"type": "number"}, {"type": "null"}]}})
    'list of number or null'
    >>> type_in_words({"type": "object", "additionalProperties": {"$ref": "#/$defs/Cause"}})
    'Cause by name'
    """
    return " or ".join(_kinds(schema))


def _kinds(schema: JsonSchemaValue) -> Iterator[str]:
    kinds = schema.get("anyOf") or schema.get("oneOf")
    if kinds:
        yield from (type_in_words(each) for each in kinds)
    elif "$ref" in schema:
        yield schema["$ref"].rpartition("/")[2]
    elif "const" in schema:
        yield str(schema["const"])
    elif "enum" in schema:
        yield from map(str, schema["enum"])
    elif schema.get("type") == "array":
        yield f"list of {type_in_words(schema.get('items', {}))}"
    elif schema.get("type") == "object":
        inner = schema.get("additionalProperties")
        yield f"{type_in_words(inner)} by name" if isinstance(inner, dict) else "names with values"
    else:
        yield TYPES.get(str(schema.get("type")), "anything")
