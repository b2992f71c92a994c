"""Circumstances: what makes a run trustworthy, and what the machine's past makes likely."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import isclose
from typing import Literal

from pydantic import Field

from diagnose.formats.model import Chance, Id, Minutes, Number, Strict, Text
from diagnose.formats.value_problem import FieldFault, Wrong, twins


class CircumstanceState(Strict):
    """One state of a circumstance.

    ``prior`` is its chance when nobody said, for all checks (``any``) or by check; ``shows``
    the chance, by check, that it alone makes a row fail.
    """

    id: Id
    name: Text
    says: Text | None = None
    prior: Mapping[str, Chance]
    shows: Mapping[str, Chance] = Field(default_factory=dict)
    source: Text

    def prior_for(self, check: str) -> float:
        """The chance of this state in a run of ``check`` when nobody said.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().circumstances["oil"].state("cold").prior_for("bleed")
        0.05
        """
        return self.prior.get(check, self.prior.get("any", 0.0))


class Ask(Strict):
    """How to find out."""

    question: Text
    minutes: Minutes


class Prepare(Strict):
    """How to put a circumstance right before a run: minutes, or the lasting set-up to enter."""

    does: Text
    minutes: Minutes = 0
    setup: Id | None = None
    cautions: tuple[Text, ...] = ()

    def faults(self) -> Iterator[FieldFault]:
        """Minutes that are said twice, or not at all.

        >>> [str(wrong) for _, wrong in Prepare(does="warm the oil").faults()]
        ['expected minutes or a set-up, got neither']
        """
        if bool(self.minutes) == bool(self.setup):
            yield ("minutes",), Wrong("minutes or a set-up", "both" if self.setup else "neither")


class Circumstance(Strict):
    """Something about a run (scope ``run``) or about the machine's past (scope ``case``).

    Numbers are kept in degrees Celsius or bar and lie from ``lowest`` to ``highest``.
    """

    id: Id
    name: Text
    says: Text
    scope: Literal["run", "case"]
    value: Literal["temperature", "pressure", "choice", "none"]
    choices: tuple[Text, ...] = ()
    lowest: Number | None = None
    highest: Number | None = None
    states: tuple[CircumstanceState, ...] = Field(min_length=2)
    ask: Ask | None = None
    prepare: Prepare | None = None

    def state(self, name: str) -> CircumstanceState:
        """The state with this id. Raises `KeyError` when there is none.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().circumstances["engine"].state("off").id
        'off'
        """
        for state in self.states:
            if state.id == name:
                return state
        raise KeyError(name)

    def good_state(self, check: str) -> CircumstanceState:
        """The state that never makes ``check`` fail: the first such, else the first of all.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> load_knowledge().circumstances["bleed-hose"].good_state("bleed").id
        'fitted'
        """
        sound = (state for state in self.states if not state.shows.get(check))
        return next(sound, self.states[0])

    def faults(self) -> Iterator[FieldFault]:
        """Choices without states, numbers without limits, priors that do not add up to 1.

        >>> known = {"id": "fan", "name": "fan", "says": "-", "scope": "run", "value": "none"}
        >>> state = {"prior": {"any": 0.4}, "source": "-"}
        >>> states = [{"id": "on", "name": "on", **state}, {"id": "off", "name": "off", **state}]
        >>> fan = Circumstance.model_validate({**known, "states": states})
        >>> [str(wrong) for _, wrong in fan.faults()]
        ['expected priors for any that add up to 1, got 0.8']
        """
        ids = [state.id for state in self.states]
        yield from twins(("states",), ids)
        if self.value == "choice" and list(self.choices) != ids:
            got = f"{', '.join(self.choices) or 'none'} with states {', '.join(ids)}"
            yield ("choices",), Wrong("one choice for each state, in order", got)
        if self.scope == "case" and self.value in ("temperature", "pressure"):
            yield ("value",), Wrong("choice, for what is known of the past", self.value)
        if self.value in ("temperature", "pressure") and None in (self.lowest, self.highest):
            yield ("value",), Wrong("a lowest and a highest possible value", "none")
        for path, wrong in self.prepare.faults() if self.prepare else ():
            yield ("prepare", *path), wrong
        for check in {check for state in self.states for check in state.prior}:
            total = sum(state.prior_for(check) for state in self.states)
            if not isclose(total, 1, abs_tol=1e-9):
                expected = f"priors for {check} that add up to 1"
                yield ("states",), Wrong(expected, f"{total:g}")
