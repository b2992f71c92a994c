"""The manual page of a layout."""

from __future__ import annotations

from diagnose.cases.rows import rows_in_words
from diagnose.faces.manual.pages import bullets, page
from diagnose.faces.words import sentence
from diagnose.machine.graph import Machine
from diagnose.machine.tree import draw


def machine_page(machine: Machine) -> str:
    """What hangs on what: sections, wiring, and the tree of all parts.

    >>> from diagnose.machine.graph import load_machine
    >>> machine_page(load_machine("mounted-6")).splitlines()[0]
    '# mounted-6: 6 rows'
    """
    oil = (f"{name}: {rows_in_words(rows)}" for name, rows in machine.sections.items())
    wiring = (f"{name}: {rows_in_words(rows)}" for name, rows in machine.branches.items())
    tree = "\n".join(f"    {line}".rstrip() for line in draw(machine))
    return page(
        f"{machine.id}: {machine.rows} rows",
        ("What it is", sentence(machine.name)),
        ("Which rows share oil", bullets(oil)),
        ("Which rows share wiring", bullets(wiring)),
        ("What hangs on what", tree),
    )
