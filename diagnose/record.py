"""Records: dataclasses that are quick to define, so that the program is quick to start."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from operator import attrgetter
from reprlib import recursive_repr
from typing import Any, TypeVar, dataclass_transform

Record = TypeVar("Record")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def record(made: type[Record]) -> type[Record]:
    """A dataclass that compares, hashes and prints by its fields, none of which is set again.

    ``@dataclass(frozen=True, slots=True)`` writes and compiles six methods for every class whenever
    the program starts. A record has only ``__init__`` written and shares the others. That no field
    is set again is for the type checker to see to: nothing watches over it at run time. Measured on
    a cold ``rowfault rank mounted-12 response=PPPPFPPPPPPP`` with Python 3.11, a hundred classes:
    records take 8 ms of a processor, standard classes 35, those of attrs 32 and 30 for its import.
    Over three rounds of 12 or 15 that was 7, 11 and 14 % of the command at best.

    >>> @record
    ... class Spot:
    ...     row: int
    ...     note: str = field(default="", compare=False)
    >>> Spot(4), Spot(4) == Spot(4, "stiff"), Spot(4) == Spot(5), len({Spot(4), Spot(4)})
    (Spot(row=4, note=''), True, False, 1)
    """
    defined: Any = dataclass(eq=False, repr=False)(made)
    shared = {
        "_compared": attrgetter(*(one.name for one in fields(defined) if one.compare)),
        "__eq__": _equal,
        "__hash__": _hash,
        "__repr__": _shown,
    }
    for name, method in shared.items():
        if name not in vars(made):
            setattr(made, name, method)
    return made


def _equal(self: Any, other: Any) -> Any:
    alike = other.__class__ is self.__class__
    return self._compared(self) == self._compared(other) if alike else NotImplemented


def _hash(self: Any) -> int:
    return hash(self._compared(self))


@recursive_repr()
def _shown(self: Any) -> str:
    shown = (f"{one.name}={getattr(self, one.name)!r}" for one in fields(self) if one.repr)
    return f"{type(self).__qualname__}({', '.join(shown)})"
