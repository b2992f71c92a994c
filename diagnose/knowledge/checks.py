"""Checks, the set-ups that work wants, and the words of the trade."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Literal, get_args

from pydantic import Field

from diagnose.formats.model import Chance, Flag, Id, Minutes, Strict, Text, read_model
from diagnose.formats.value_problem import FieldFault, Wrong
from diagnose.knowledge.parts import ANY_SETUP, PARKED, Price
from diagnose.paths import shipped


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


class Setup(Strict):
    """A state of the machine that work wants; it is entered from, and left to, `PARKED`.

    A ``lasting`` one is there beside any other: once entered it stays, whatever else is entered.
    """

    id: Id
    name: Text
    says: Text
    lasting: Flag = False
    enter_minutes: Minutes
    leave_minutes: Minutes
    cautions: tuple[Text, ...] = ()
    source: Text

    def faults(self) -> Iterator[FieldFault]:
        """A word that stands for all set-ups, a start that is not free, what cannot last.

        >>> said = {"id": "parked", "name": "parked", "says": "-", "source": "-"}
        >>> parked = Setup.model_validate({**said, "enter_minutes": 5, "leave_minutes": 0})
        >>> [str(wrong) for _, wrong in parked.faults()]
        ['expected 0 minutes to and from parked, got more']
        """
        if self.id == ANY_SETUP:
            yield ("id",), Wrong(f"an id other than {ANY_SETUP}", ANY_SETUP, "rename it")
        if self.id == PARKED and (self.enter_minutes or self.leave_minutes):
            yield ("enter_minutes",), Wrong("0 minutes to and from parked", "more")
        if self.lasting and (self.id == PARKED or self.leave_minutes):
            got = PARKED if self.id == PARKED else f"{self.leave_minutes:g} minutes"
            yield ("lasting",), Wrong("a set-up that nobody leaves", got)


class Rates(Strict):
    """What a part of each price, and handing the case over, is worth in minutes of work."""

    says: Text
    price_minutes: Mapping[Price, Minutes]
    hand_over_minutes: Minutes
    source: Text

    def faults(self) -> Iterator[FieldFault]:
        """Prices that are left out.

        >>> minutes = {"none": 0, "small": 5, "medium": 30}
        >>> rates = Rates(says="-", price_minutes=minutes, hand_over_minutes=300, source="-")
        >>> [str(wrong) for _, wrong in rates.faults()]
        ['expected minutes for large, got nothing']
        """
        for price in get_args(Price):
            if price not in self.price_minutes:
                yield ("price_minutes",), Wrong(f"minutes for {price}", "nothing", "add it")


def change_minutes(before: Setup, after: Setup) -> float:
    """Minutes from one set-up to another, by way of the parked machine; none when they are one.

    >>> from diagnose.knowledge.base import load_knowledge
    >>> setups = load_knowledge().setups
    >>> change_minutes(setups["bleeding"], setups["running"])
    5.0
    """
    return 0.0 if before.id == after.id else before.leave_minutes + after.enter_minutes


class Word(Strict):
    """What a word means, and the pages to read beside it."""

    says: Text
    see: tuple[Text, ...] = ()


class _Words(Strict):
    """Every word with its meaning, in the order of the file."""

    says: Text
    source: Text
    words: Mapping[Text, Word]


@cache
def load_words() -> Mapping[str, Word]:
    """The words that ship. Raises `FileProblems`.

    >>> load_words()["section"].says
    'Rows that are fed by one hose and one manifold.'
    """
    return read_model(shipped().words, _Words).words
