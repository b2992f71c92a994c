"""What sound data files said, remembered beside the user's other caches, so that starting is quick.

Only plain data is kept, as JSON, with the name, size and times of every file it came from: once
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
from zlib import crc32

import platformdirs

from diagnose import __version__
from diagnose.knowledge.places import NOWHERE

Data = Mapping[str, Any]

OFF = "ROWFAULT_NO_CACHE"
"""When this is set, nothing is remembered."""


class Memory:
    """What is remembered of some files; made before they are read.

    A file that changes while it is read is so never taken for the one that was read.
    """

    def __init__(self, name: str, paths: Sequence[Path]) -> None:
        self._place = _place(name)
        self._marks = None if os.environ.get(OFF) else _marks(paths)

    def recall(self) -> list[Data] | None:
        """The data of files that were found sound together, in their order; None if not known."""
        with suppress(OSError, ValueError, KeyError, TypeError):
            kept = json.loads(self._place.read_text(encoding="utf-8"))
            if self._marks is not None and kept["of"] == self._marks:
                return list(kept["data"])
        return None

    def remember(self, data: Sequence[Data]) -> None:
        """Keep the data of files that are sound together."""
        if self._marks is None:
            return
        with suppress(OSError, ValueError):
            self._place.parent.mkdir(parents=True, exist_ok=True)
            beside = self._place.with_name(f".{self._place.name}.{secrets.token_hex(4)}")
            text = json.dumps({"of": self._marks, "data": list(data)})
            try:
                beside.write_text(text, encoding="utf-8")
                beside.replace(self._place)
            finally:
                beside.unlink(missing_ok=True)


def _place(name: str) -> Path:
    """Where it is kept; programs that are installed twice do not forget each other's."""
    program = crc32(os.fsencode(__file__))
    try:
        folder = Path(platformdirs.user_cache_path("rowfault", False))
    except RuntimeError:  # somebody without a home
        folder = NOWHERE
    return folder / f"{name}-{program:08x}.json"


def _marks(paths: Sequence[Path]) -> list[list[Any]] | None:
    """The program's version, then what tells that a file is still the same; None without files."""
    try:
        seen = [(path, path.stat()) for path in paths]
    except OSError:
        return None
    return [
        [__version__],
        *([str(path), stat.st_size, stat.st_mtime_ns, stat.st_ctime_ns] for path, stat in seen),
    ]
