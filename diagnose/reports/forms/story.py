"""What was told of a case, as it is kept: the form ``rowfault/case/3``."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, model_serializer

from diagnose.observations.encoding import encode
from diagnose.observations.entries import Event, What
from diagnose.reports.forms.base import Report


class KeptEvent(BaseModel):
    """One thing that was told, with the hash that holds it to the one before."""

    model_config = ConfigDict(frozen=True)

    id: str
    at: datetime
    who: str
    what: Annotated[What, Field(discriminator="kind")]
    question: str | None = None
    seen: str | None = None
    before: tuple[str, ...] = ()
    same_as: str | None = None
    sha256: str

    @model_serializer(mode="plain")
    def _as_it_is_kept(self) -> dict[str, Any]:
        told = {name: getattr(self, name) for name in type(self).model_fields if name != "sha256"}
        return {**encode(Event(**told)), "sha256": self.sha256}


class StoryReport(Report):
    """A case as it is kept: how many entries, the hash of the last, and each of them in order.

    What an entry does not say is left out of it.
    """

    SCHEMA_OF = "validation"

    form: Literal["rowfault/case/3"] = "rowfault/case/3"
    entries: int
    head: str
    events: tuple[KeptEvent, ...]
