"""What state a machine is in while work is done on it, and what that work and parts are worth."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import get_args

from diagnose.knowledge.model import Flag, Id, Minutes, Strict, Text
from diagnose.knowledge.parts import ANY_SETUP, PARKED, Price
from diagnose.knowledge.wrong import Fault, Wrong


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

    def faults(self) -> Iterator[Fault]:
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

    def faults(self) -> Iterator[Fault]:
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
