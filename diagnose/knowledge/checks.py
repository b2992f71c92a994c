"""The checks: tests that return pass or fail for each row."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from diagnose.knowledge.model import Chance, Flag, Id, Minutes, Strict, Text


class Check(Strict):
    """One check: how it is made, what it costs, how often a healthy row is marked as failed.

    ``set_up_minutes`` are spent on every run, once the machine is in its ``setup``; ``wants`` are
    the lasting set-ups that it needs too. ``clears_air`` says that a run of it takes the air out
    of its rows; ``fails_with_air`` is the chance that a row fails that was opened and not bled.
    """

    id: Id
    name: Text
    says: Text
    how: tuple[Text, ...] = Field(min_length=1)
    exercises: tuple[Literal["oil", "electric"], ...] = Field(min_length=1)
    false_alarm: Chance
    clears_air: Flag = False
    fails_with_air: Chance | None = None
    setup: Id
    wants: tuple[Id, ...] = ()
    set_up_minutes: Minutes
    minutes_per_row: Minutes
    needs: tuple[Text, ...] = ()
    cautions: tuple[Text, ...] = ()
    source: Text
