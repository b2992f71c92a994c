"""What sound data files said, remembered beside the user's other caches, so that starting is quick.

Only plain data is kept, as JSON, with the name, size and time of every file it came from: once
one of them changes, all are read again. A cache that cannot be read or written is as good as none.
"""

from __future__ import annotations

import json
import os
import secrets
from collections.abc import Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs

from diagnose import __version__

Data = Mapping[str, Any]

OFF = "ROWFAULT_NO_CACHE"
"""When this is set, nothing is remembered."""


def recall(name: str, paths: Sequence[Path]) -> list[Data] | None:
    """The data of files that were found sound together, in their order; None when not known."""
    with suppress(OSError, ValueError, KeyError, TypeError):
        kept = json.loads(_place(name).read_text(encoding="utf-8"))
        if not os.environ.get(OFF) and kept["of"] == _marks(paths):
            return list(kept["data"])
    return None


def remember(name: str, paths: Sequence[Path], data: Sequence[Data]) -> None:
    """Keep the data of files that are sound together."""
    if os.environ.get(OFF):
        return
    with suppress(OSError, ValueError):
        place = _place(name)
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = place.with_name(f".{place.name}.{secrets.token_hex(4)}")
        text = json.dumps({"of": _marks(paths), "data": list(data)})
        try:
            beside.write_text(text, encoding="utf-8")
            beside.replace(place)
        finally:
            beside.unlink(missing_ok=True)


def _place(name: str) -> Path:
    return Path(platformdirs.user_cache_path("rowfault", False)) / f"{name}.json"


def _marks(paths: Sequence[Path]) -> list[list[Any]]:
    """The program's version, then what tells that a file is still the same."""
    seen = ((path, path.stat()) for path in paths)
    return [
        [__version__],
        *([str(path), stat.st_size, stat.st_mtime_ns] for path, stat in seen),
    ]
