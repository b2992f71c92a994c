"""The limits of the fields of events, in pydantic's terms."""

from __future__ import annotations

import unicodedata
from typing import Annotated, Any

from pydantic import AfterValidator, Field, StringConstraints
from pydantic_core import CoreSchema, core_schema

from diagnose.errors import quoted
from diagnose.formats.model import Text
from diagnose.formats.value_problem import Wrong
from diagnose.observations.result import Result, results_of

LONGEST_TEXT = 4000
"""Letters that a note, a name or a reason may have."""


def _printable(text: str) -> str:
    r"""The text, when a terminal and a file can carry it. Raises `Wrong`.

    >>> _printable("x\x1b[31m")
    Traceback (most recent call last):
    diagnose.formats.value_problem.Wrong: expected text without control characters, got 'x\x1b[31m'
    >>> _printable("hose \udcff")
    Traceback (most recent call last):
    diagnose.formats.value_problem.Wrong: expected text in UTF-8, got 'hose \udcff'
    """
    kinds = {unicodedata.category(sign) for sign in text if sign not in "\n\t"}
    if "Cc" in kinds:
        raise Wrong("text without control characters", quoted(text))
    if "Cs" in kinds:
        raise Wrong("text in UTF-8", quoted(text))
    return text


def spoken(text: str) -> str:
    """What a person wrote, when it can be kept as `FreeText`. Raises `Wrong`.

    >>> spoken("hose chafed")
    'hose chafed'
    >>> spoken("x" * 4001)
    Traceback (most recent call last):
    diagnose.formats.value_problem.Wrong: expected at most 4,000 letters, got 4,001
    """
    if len(text) > LONGEST_TEXT:
        raise Wrong(f"at most {LONGEST_TEXT:,} letters", f"{len(text):,}")
    return _printable(text)


FreeText = Annotated[
    str, StringConstraints(min_length=1, max_length=LONGEST_TEXT), AfterValidator(_printable)
]
"""What a person wrote: anything but control characters, which could steer a terminal."""
EventId = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{32}$")]
CaseId = Annotated[str, StringConstraints(pattern=r"^[0-9]{8}-[a-z0-9-]{1,80}$")]
Pattern = Annotated[str, StringConstraints(pattern=r"^[PF?.]+$", max_length=1000)]
LayoutText = Annotated[str, StringConstraints(max_length=100_000)]
RowForm = Annotated[int, Field(strict=True, ge=1, le=1000)]
CountForm = Annotated[int, Field(strict=True, ge=0, le=1000)]
ValueForm = Annotated[float, Field(strict=True, allow_inf_nan=False)] | Text


class _FromPattern:
    """Results, written as a pattern of one letter per row."""

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> CoreSchema:
        pattern = handler.generate_schema(Pattern)
        return core_schema.no_info_after_validator_function(results_of, pattern)


class _NotTold:
    """A number that nobody tells: it is refused where it is given."""

    def __get_pydantic_core_schema__(self, source: object, handler: Any) -> CoreSchema:
        refused = core_schema.no_info_plain_validator_function(_not_told)
        return core_schema.with_default_schema(refused, default=0)

    def __get_pydantic_json_schema__(self, schema: object, handler: object) -> dict[str, Any]:
        return {"const": 0, "description": "Filled in where a case is read; no file holds it."}


def _not_told(number: object) -> int:
    raise Wrong("no such field", quoted(number), "leave it out: runs are counted in order")


ResultsForm = Annotated[tuple[Result, ...], _FromPattern()]
FilledForm = Annotated[int, _NotTold()]
