"""Machines by name or file: an edge a → b of their graph says that b needs a."""

from __future__ import annotations

from pathlib import Path

from diagnose.errors import FileProblems, Place, Problem, UnknownName
from diagnose.knowledge.base import Knowledge, load_knowledge
from diagnose.knowledge.layoutcheck import crowded, layout_faults
from diagnose.knowledge.layouts import Layout
from diagnose.knowledge.model import check_model, in_order
from diagnose.knowledge.strictyaml import Document, read_file
from diagnose.knowledge.textfile import read_text_file
from diagnose.limits import LARGEST_LAYOUT
from diagnose.machine.assemble import assemble
from diagnose.machine.planter import Machine

__all__ = [
    "Machine",
    "build_machine",
    "find_layout",
    "layout_text",
    "load_machine",
    "machine_in",
    "read_machine",
]


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
    document = read_file(path)
    called = path.stem if path == knowledge.layouts.get(path.stem) else ""
    return machine_in(document, knowledge, called)


def layout_text(path: Path | str) -> str:
    """The text of a layout's file, which goes whole into each case that is opened with it.

    Raises `FileProblems` for one that is too long for that.

    >>> layout_text(load_knowledge().layouts["mounted-6"]).splitlines()[0]
    'id: mounted-6'
    """
    remedy = "a case keeps its layout whole: take out comments and what says the same twice"
    return read_text_file(path, LARGEST_LAYOUT, remedy)


def machine_in(document: Document, knowledge: Knowledge, called: str = "") -> Machine:
    """The machine that a layout in hand describes; its id is what it is ``called``, if that is
    given. Raises `FileProblems`.

    >>> known = load_knowledge()
    >>> data = read_file(known.layouts["mounted-6"]).data
    >>> machine_in(Document("mine.yaml", data), known).branches["harness-1"]
    (1, 2, 3, 4, 5, 6)
    """
    layout, problems = check_model(document, Layout)
    if layout is None:
        raise FileProblems(problems)
    if called and layout.id != called:
        expected = f"id: {called}, as the file is called"
        where = document.place(("id",))
        problems.append(Problem(where, expected, layout.id, "rename one of them"))
    return _built(layout, document, knowledge, problems)


def build_machine(layout: Layout, knowledge: Knowledge | None = None) -> Machine:
    """The machine of a layout made in Python. Raises `FileProblems`, whose places have no lines.

    >>> section = {"id": "section-1", "rows": "1-2"}
    >>> branch = {"id": "harness-1", "rows": "1-2", "controller": "controller-1"}
    >>> layout = Layout.model_validate(
    ...     {"id": "mine", "name": "mine", "rows": 2, "sections": [section],
    ...      "branches": [branch], "controllers": [{"id": "controller-1"}]}
    ... )
    >>> machine = build_machine(layout)
    >>> machine.rows_of("section-1/hose"), machine.rows_of("row-2/hose")
    ((1, 2), (2,))
    """
    return _built(layout, Document(f"layout {layout.id}", {}), knowledge or load_knowledge(), [])


def _built(
    layout: Layout, document: Document, knowledge: Knowledge, problems: list[Problem]
) -> Machine:
    """The machine, unless something is wrong. Raises `FileProblems`."""
    too_long = crowded(layout)
    if too_long:
        problems += [wrong.at(document.place(path)) for path, wrong in too_long]
        raise FileProblems(in_order(problems))
    machine, faults = assemble(layout, knowledge)
    faults += layout_faults(layout)
    problems += [wrong.at(document.place(path)) for path, wrong in faults]
    if problems:
        raise FileProblems(in_order(problems))
    return machine
