"""What every report is made of: frozen models that are written as JSON the same way."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, Field

Moment = Annotated[str, Field(json_schema_extra={"format": "date-time"})]
"""A point in time in the form of ISO 8601, with its offset from UTC."""


_IN_JSON = {"form": "schema", "for_": "for"}
"""Names in JSON that an attribute of a model cannot have."""


def _in_json(name: str) -> str:
    return _IN_JSON.get(name, name)


class Frozen(BaseModel):
    """A piece of a report: it does not change, and refuses fields that it does not have.

    Its validator is built when the first one is made, so that importing a module of reports
    costs next to nothing.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        defer_build=True,
        alias_generator=_in_json,
        validate_by_name=True,
        validate_by_alias=True,
        serialize_by_alias=True,
        json_schema_serialization_defaults_required=True,
    )


class Report(Frozen):
    """A whole document; ``form``, in JSON ``schema``, says which kind, in which version."""

    SCHEMA_OF: ClassVar[Literal["serialization", "validation"]] = "serialization"
    """Whether its schema holds every field, or lets fields be missing that need not be given."""

    form: str

    def plain(self) -> dict[str, Any]:
        """The document as plain data, as it is printed."""
        return self.model_dump(mode="json", by_alias=True)
