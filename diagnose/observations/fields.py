"""What the fields of events may hold, checked where an event is read from outside."""

from __future__ import annotations

from dataclasses import fields
from importlib import import_module
from typing import Annotated, Any, ClassVar, get_type_hints

ALIASES = {"other": "with", "results": "pattern"}
"""What files and the database call a field, where that is not its name."""

FILLED = ("index", "epoch")
"""Fields that the replay fills in: nobody tells them, and nothing stores them."""


def written_name(field: str) -> str:
    """What files and the database call a field of an event.

    >>> written_name("other"), written_name("part")
    ('with', 'part')
    """
    return ALIASES.get(field, field)


class Stored:
    """What can be stored; pydantic reads it strictly, by the names that files have."""

    __pydantic_config__: ClassVar[dict[str, Any]] = {
        "extra": "forbid",
        "alias_generator": written_name,
    }

    @classmethod
    def file_fields(cls) -> dict[str, Any]:
        """The fields by the names that files have, each with what it may hold; its kind first."""
        hints = get_type_hints(cls)
        told = sorted(fields(cls), key=lambda field: field.name != "kind")  # type: ignore[arg-type]
        return {written_name(f.name): hints[f.name] for f in told if f.name not in FILLED}

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: Any, handler: Any) -> dict[str, Any]:
        """The fields that a file has, and what the class is in a line."""
        schema: dict[str, Any] = handler.resolve_ref_schema(handler(core_schema))
        for name in FILLED:
            schema["properties"].pop(name, None)
        schema["required"] = [name for name in schema.get("required", ()) if name not in FILLED]
        schema["description"] = (cls.__doc__ or "").partition("\n")[0]
        return schema


class Form:
    """What a field may hold: a name of `diagnose.observations.forms`.

    Only pydantic asks for it, so that a case that is typed does without pydantic.
    """

    def __init__(self, name: str) -> None:
        self.name = name

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> Any:
        """The schema that pydantic builds for the field."""
        forms = import_module("diagnose.observations.forms")
        return handler.generate_schema(getattr(forms, self.name))


Identifier = Annotated[str, Form("Text")]
Value = Annotated[float | str, Form("ValueForm")]
Row = Annotated[int, Form("RowForm")]
Filled = Annotated[int, Form("FilledForm")]
"""Held by those of `FILLED`."""
