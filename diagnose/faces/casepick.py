"""Which case somebody means: an exported file, or one of the casebook."""

from __future__ import annotations

from pathlib import Path

from diagnose.knowledge.base import Knowledge
from diagnose.store.casebook import open_casebook
from diagnose.story.archive import read_story
from diagnose.story.event import Event

FILES = (".yaml", ".yml", ".json")


def story_of(name: str, knowledge: Knowledge) -> tuple[Event, ...]:
    """The events of a case by its id, by a beginning that only it has, by ``last``, or by a path.

    Raises what the casebook (`UnknownName`, `InputError`, `Unavailable`) or the file
    (`FileProblems`) raises.
    """
    if name.lower().endswith(FILES) or "/" in name:
        return tuple(read_story(Path(name), knowledge))
    with open_casebook() as casebook:
        return casebook.events(casebook.find(name))
