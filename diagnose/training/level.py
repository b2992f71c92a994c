"""The levels, and what instruments show: data, in ``graphs/drills.yaml``."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from diagnose.errors import Place, UnknownName
from diagnose.formats.model import Chance, Id, Number, Strict, Text, Whole, read_model
from diagnose.paths import shipped

_Reach = Literal["any", "row", "shared"]


class Level(Strict):
    """What is drawn at one level.

    Parameters
    ----------
    reach: whether faulty parts serve one row, several, or either.
    how_many: faults; None for as many as the priors give.
    sound: the chance that nothing is broken at all.
    favour: by KIND:MODE, how many times likelier than its prior it is drawn here.
    circumstances: of the first runs: all ``good``, ``drawn`` as the knowledge says, or one
        ``misleading`` at least.
    untold: circumstances of the first runs that are told only to whoever asks.
    forgotten: the chance, for each of those, that nobody knows.
    trains: the skills that it is drilled for: they come up in most of its drills, and at no other
        level in clearly more of the moves. Nothing is drawn by it.
    """

    number: Annotated[Whole, Field(ge=0, le=9)]
    name: Text
    says: Text
    lesson: Text
    reach: _Reach = "any"
    how_many: Annotated[Whole, Field(ge=0, le=3)] | None = Field(default=None, alias="faults")
    sound: Chance = 0.0
    favour: Mapping[str, Annotated[Number, Field(gt=0, le=1000)]] = Field(default_factory=dict)
    circumstances: Literal["good", "drawn", "misleading"] = "good"
    untold: tuple[Id, ...] = ()
    forgotten: Chance = 0.0
    trains: tuple[Id, ...] = ()


class Drills(Strict):
    """Everything that drills take from data.

    Parameters
    ----------
    values: by circumstance and check (or ``any``), the number that stands for each state.
    readings: by measurement, the number that an instrument shows for each result.
    of_supply: the same for gauges, as a share of the supply's pressure.
    """

    says: Text
    source: Text
    values: Mapping[Id, Mapping[str, Mapping[Id, Number]]]
    readings: Mapping[Id, Mapping[Id, Number]]
    of_supply: Mapping[Id, Mapping[Id, Number]]
    levels: tuple[Level, ...] = Field(min_length=1)

    def level(self, number: int) -> Level:
        """The level of that number. Raises `UnknownName`.

        >>> load_drills().level(1).reach
        'row'
        """
        for each in self.levels:
            if each.number == number:
                return each
        known = [f"{each.number} ({each.name})" for each in self.levels]
        raise UnknownName(Place("level"), "a level", str(number), known)

    def trainer(self, skill: str) -> Level:
        """The easiest level that trains a skill.

        >>> load_drills().trainer("circumstances").name
        'misleading circumstances'
        """
        return next(each for each in self.levels if skill in each.trains)

    def drawn_from(self) -> str:
        """All that drills depend on, as text: what a level trains changes none of them.

        >>> '"favour"' in load_drills().drawn_from(), '"trains"' in load_drills().drawn_from()
        (True, False)
        """
        return self.model_dump_json(exclude={"levels": {"__all__": {"trains"}}})

    def value(self, circumstance: str, check: str, state: str) -> float | str:
        """What somebody would note down for a state: a number, or the state's own word.

        >>> drills = load_drills()
        >>> drills.value("oil", "bleed", "cold"), drills.value("engine", "bleed", "on")
        (8.0, 'on')
        """
        by_check = self.values.get(circumstance)
        if by_check is None:
            return state
        return by_check.get(check, by_check.get("any", {}))[state]

    def reading(self, measurement: str, result: str, supply: float) -> float | None:
        """What an instrument shows for a result; None for what only is looked at.

        >>> load_drills().reading("hose-end-pressure", "low", 180.0)
        72.0
        """
        if measurement in self.of_supply:
            return self.of_supply[measurement][result] * supply
        return self.readings[measurement][result] if measurement in self.readings else None


@cache
def load_drills() -> Drills:
    """The levels that ship. Raises `FileProblems`.

    >>> [each.number for each in load_drills().levels]
    [0, 1, 2, 3, 4]
    """
    return read_model(shipped().drills, Drills)
