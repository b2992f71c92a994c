"""The chain that holds a case's entries together: a changed or missing entry breaks it.

Every entry has bytes that are stored once and never rewritten, the version of the form that they
are in, and a SHA-256 of both and of the entry before. What an older program stored is converted
when it is read (`diagnose.story.formats`).
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

from diagnose.story.event import Event

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


def plain(event: Event) -> dict[str, Any]:
    """An event as plain data, without the fields that are not given.

    A circumstance that was taken back keeps its null.

    >>> from datetime import UTC, datetime
    >>> from diagnose.story.event import Circumstances, Skipped, told
    >>> at = datetime(2026, 3, 1, tzinfo=UTC)
    >>> [plain(told(what, "A", at))["what"] for what in (Skipped(act="x"),
    ...     Circumstances(values={"oil": None}))]
    [{'kind': 'skip', 'act': 'x'}, {'kind': 'circumstances', 'values': {'oil': None}}]
    """
    dumped = event.model_dump(mode="json", by_alias=True)
    data = {name: value for name, value in _given(dumped).items() if value != []}
    what = _given(data["what"])
    if isinstance(what.get("instead"), dict):
        what["instead"] = _given(what["instead"])
    return {**data, "what": what}


def _given(data: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in data.items() if value is not None}


def canonical(data: object) -> str:
    """Plain data as the one text that is stored and hashed: JSON, names sorted, no blanks.

    >>> canonical({"who": "Ünal", "at": [1.0, None]})
    '{"at":[1.0,null],"who":"Ünal"}'
    """
    return json.dumps(
        data, ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
    )
