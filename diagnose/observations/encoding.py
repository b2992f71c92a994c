"""Events as plain data and as the text that is stored, and back; each with the hash before it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from enum import Enum
from functools import cache
from typing import Annotated, Any, cast

from pydantic import Field, TypeAdapter, ValidationError

from diagnose.errors import quoted
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.observations.entries import Event, What
from diagnose.observations.fields import FILLED, written_name
from diagnose.observations.result import pattern_of

Data = dict[str, Any]
"""An event as plain data, as JSON gives it."""

LATER: Mapping[str, tuple[str, ...]] = {
    "run": ("counts", "alternatives", "inferred", "session"),
    "reading": ("circumstances",),
    "": ("question", "seen", "before", "same_as"),
}
"""By kind, fields that older casebooks do not have: written only where they say something."""


def encode(event: Event) -> Data:
    """An event as plain data, without the fields that are not given.

    A circumstance that was taken back keeps its null.

    >>> from datetime import UTC
    >>> from diagnose.observations.entries import Skipped, new_event
    >>> from diagnose.observations.events import Circumstances
    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> [encode(new_event(what, "A", at))["what"] for what in (Skipped(act="x"),
    ...     Circumstances({"oil": None}))]
    [{'kind': 'skip', 'act': 'x'}, {'kind': 'circumstances', 'values': {'oil': None}}]
    """
    return cast("Data", _plain(event))


def canonical(data: object) -> str:
    """Plain data as the one text that is stored and hashed: JSON, names sorted, no blanks.

    >>> canonical({"who": "Ünal", "at": [1.0, None]})
    '{"at":[1.0,null],"who":"Ünal"}'
    """
    return json.dumps(
        data, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
    )


def decode(text: str) -> Event:
    """The event that a text tells, in today's form. Raises pydantic's `ValidationError`.

    >>> from diagnose.observations.entries import Noted, new_event
    >>> event = new_event(Noted("hose chafed"), "A")
    >>> decode(canonical(encode(event))) == event
    True
    """
    return _reader().validate_json(text)


def cannot_be_kept(what: What) -> Iterator[FieldFault]:
    """What no event can hold, whatever the machine: a field that is empty, or no number at all.

    >>> from diagnose.observations.entries import Noted
    >>> [(path, wrong.got) for path, wrong in cannot_be_kept(Noted(""))]
    [(('text',), "''")]
    """
    try:
        _reader_of_what().validate_python(_plain(what))
    except ValidationError as error:
        for each in error.errors(include_url=False):
            got, says = quoted(each["input"]), each["msg"]
            yield each["loc"][1:], Wrong("something that can be kept", got, says)


@cache
def _reader() -> TypeAdapter[Event]:
    return TypeAdapter(Event)


@cache
def _reader_of_what() -> TypeAdapter[What]:
    return TypeAdapter(Annotated[What, Field(discriminator="kind")])


def _plain(value: object) -> object:
    """A value as JSON has it."""
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return _fields(value) if is_dataclass(value) and not isinstance(value, type) else value


def _fields(value: Any) -> Data:
    kind = getattr(value, "kind", "")
    data: Data = {"kind": kind} if kind else {}
    for each in fields(value):
        name, held = each.name, getattr(value, each.name)
        if held is None or name in FILLED or (name in LATER.get(kind, ()) and not held):
            continue
        results = name == "results"
        data[written_name(name)] = pattern_of(held) if results else _plain(held)
    return data


FIRST = ""
"""Stands for the hash before the first entry."""


def link(before: str, form: int, body: str) -> str:
    r"""The hash of an entry: of the hash before it, its form's version and its stored text.

    >>> import hashlib
    >>> by_hand = hashlib.sha256(b'\n2\n{"who":"Ann"}').hexdigest()
    >>> link(FIRST, 2, '{"who":"Ann"}') == by_hand, link(by_hand, 2, "{}") == by_hand
    (True, False)
    """
    text = f"{before}\n{form}\n{body}"
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
