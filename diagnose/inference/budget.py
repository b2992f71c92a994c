"""How much an inference may take, in entries of its tables: counted before each is made.

Failing runs multiply, so a case can be told in a minute that no computer could work out. Entries
are the same on every machine; the clock and the memory at hand are not, and what is answered must
not depend on them.

Calibrated on two cores (`tests/bench/bounded.py entries`): a million entries take 2 to 8 ms of
processor time, and tables that stand in memory together take 8 bytes an entry.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import TypeVar

from diagnose.errors import OverBudget

LARGEST = 14_000_000
"""Entries of the largest table, and of those that one sweep keeps together.

They take about 110 MB, several times over while they are worked on.
"""

STEP = 4_000
"""What one step takes besides the entries of its table, in entries that take as long."""

_Given = TypeVar("_Given")


@dataclass
class Budget:
    """Entries that may be spent, and those that were."""

    limit: float
    spent: float = 0.0

    @property
    def left(self) -> float:
        """Entries that are left.

        >>> Budget(limit=100, spent=30).left
        70
        """
        return self.limit - self.spent


LIMIT = 900e6
"""Entries that one solution of a network may take, as they are reckoned before it begins.

What it takes in the end is a third of that or less, about 2 seconds on one core: of 150 cases a
person may tell, seven had limits at 300 million, two have at 900, and none takes longer for it.
"""


def left() -> float:
    """Entries that may still be spent on one solution.

    >>> with within(100):
    ...     spend(30)
    ...     print(left())
    70.0
    """
    return min([LIMIT, *(budget.left for budget in _open.get())])


_open: ContextVar[tuple[Budget, ...]] = ContextVar("budgets", default=())


@contextmanager
def within(limit: float) -> Iterator[Budget]:
    """A budget for what is worked out inside; what is spent counts for those around it too.

    >>> with within(100) as budget:
    ...     spend(30)
    ...     try:
    ...         spend(80)
    ...     except OverBudget:
    ...         print(budget.spent, budget.left)
    110.0 -10.0
    """
    budget = Budget(limit)
    token = _open.set((*_open.get(), budget))
    try:
        yield budget
    finally:
        _open.reset(token)


@dataclass
class Allowance:
    """What several parts of an answer may take together; ``refused`` says which it did not allow.

    >>> extras = Allowance(100)
    >>> extras.give(lambda: spend(30), 0, "the first"), extras.give(lambda: spend(80), 0, "another")
    (None, 0)
    >>> extras.refused
    ['another']
    """

    entries: float
    refused: list[str] = field(default_factory=list)

    def give(self, work: Callable[[], _Given], otherwise: _Given, says: str) -> _Given:
        """What the work gives; ``otherwise`` when that would take more than is left."""
        with within(self.entries) as own:
            try:
                return work()
            except OverBudget:
                self.refused.append(says)
                return otherwise
            finally:
                self.entries -= own.spent


def spend(entries: float) -> None:
    """Spend entries, before they are made. Raises `OverBudget`."""
    for budget in _open.get():
        budget.spent += entries
        if budget.spent > budget.limit:
            raise OverBudget


def table(entries: float, times: float = 1.0, besides: float = 0.0) -> None:
    """Spend the entries of one table, ``times`` over, and what goes with them.

    Raises `OverBudget`, also where it is larger than `LARGEST`.

    >>> table(1_000_000)
    >>> try:
    ...     table(100_000_000)
    ... except OverBudget as over:
    ...     print(str(over).partition(";")[0])
    the failing runs are too many to work out together
    """
    if entries > LARGEST:
        raise OverBudget
    spend(entries * times + besides)
