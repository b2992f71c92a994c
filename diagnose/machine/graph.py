"""Machines by name or file, built anew only when the layout or what it means has changed."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path
from zlib import crc32

from diagnose.errors import Place, UnknownName
from diagnose.formats.cache import Memory
from diagnose.formats.strictyaml import read_file
from diagnose.formats.textfile import read_text_file
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.machine.planter import Machine, as_data, from_data
from diagnose.tolerances import LARGEST_LAYOUT

__all__ = ["Machine", "find_layout", "layout_text", "load_machine", "read_machine"]

_HERE = Path(__file__)

SEE = "rowfault machine list"
"""The command that shows every machine."""


def load_machine(name_or_path: str, knowledge: Knowledge | None = None) -> Machine:
    """The machine of a layout, by id or by the path of a layout file.

    Raises `UnknownName` when there is no such layout, `FileProblems` with everything that is
    wrong in the file.

    >>> load_machine("folding-16").chains["section-1"]
    (5, 4, 3, 2, 1)
    """
    knowledge = knowledge or load_knowledge()
    return read_machine(find_layout(name_or_path, knowledge), knowledge)


def find_layout(name_or_path: str, knowledge: Knowledge) -> Path:
    """The file of a layout; what has a slash or a file's ending is a path. Raises `UnknownName`.

    >>> find_layout("mine/planter.yaml", load_knowledge()).name
    'planter.yaml'
    """
    if name_or_path in knowledge.layouts:
        return knowledge.layouts[name_or_path]
    if name_or_path.endswith((".yaml", ".yml", ".json")) or "/" in name_or_path:
        return Path(name_or_path)
    raise UnknownName(Place("machine"), "a machine", name_or_path, knowledge.layouts, SEE)


def read_machine(path: Path, knowledge: Knowledge) -> Machine:
    """The machine that a layout file describes. Raises `FileProblems`.

    >>> known = load_knowledge()
    >>> read_machine(known.layouts["mounted-6"], known).ports["port-left"]
    (1, 2, 3)
    """
    called = path.stem if path == knowledge.layouts.get(path.stem) else ""
    kinds = (f"{kind.id} {kind.reach}" for kind in knowledge.parts.values())
    # What is remembered is no data of files but what was made of them, by the code beside this.
    made_by = [_HERE.with_name(f"{name}.py") for name in ("assemble", "planter")]
    name = f"machine-{crc32(os.fsencode(path)):08x}"
    memory = Memory(name, [path, *made_by], " ".join((called, *kinds)))
    with suppress(LookupError, TypeError, ValueError):
        for data in memory.recall() or ():
            return from_data(data, knowledge.parts_of(data["frame"]))
    # What builds a machine is slow to import, and one that was found sound once is remembered.
    from diagnose.machine.assemble import machine_in  # noqa: PLC0415

    machine = machine_in(read_file(path), knowledge, called)
    memory.remember([as_data(machine)])
    return machine


def layout_text(path: Path | str) -> str:
    """The text of a layout's file, which goes whole into each case that is opened with it.

    Raises `FileProblems` for one that is too long for that.

    >>> layout_text(load_knowledge().layouts["mounted-6"]).splitlines()[0]
    'id: mounted-6'
    """
    remedy = "a case keeps its layout whole: take out comments and what says the same twice"
    return read_text_file(path, LARGEST_LAYOUT, remedy)
