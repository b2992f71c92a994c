"""How much the shipped priors weigh against closed cases: data, in ``graphs/learning.yaml``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, get_args

from pydantic import Field

from diagnose.knowledge.model import Number, Strict, Text, read_model
from diagnose.knowledge.parts import Reach
from diagnose.knowledge.places import Folders, own, shipped
from diagnose.knowledge.wrong import Fault, Wrong


class Weights(Strict):
    """What learning takes for granted.

    Parameters
    ----------
    part_cases: by reach of a part kind, the exposure that its shipped priors stand for: one
        part-case is one part on one machine in one closed case.
    surprise: counts whose prior predictive tail is below this contradict the prior.
    apart: a frame gets priors of its own when its cases and those of the others are so many
        times likelier under rates of their own than under one rate for all.
    """

    says: Text
    part_cases: Mapping[Reach, Annotated[Number, Field(gt=0, le=1e9)]]
    surprise: Annotated[Number, Field(gt=0, lt=0.5)]
    apart: Annotated[Number, Field(ge=1)]
    source: Text

    def faults(self) -> Iterator[Fault]:
        """Reaches that are left out."""
        for reach in get_args(Reach):
            if reach not in self.part_cases:
                yield ("part_cases",), Wrong(f"part-cases for {reach}", "nothing", "add it")


def load_weights(extra: Path | None = None) -> Weights:
    """The user's own weights when there are some, else those that ship. Raises `FileProblems`.

    >>> load_weights().part_cases["row"]
    1000.0
    """
    roots = (shipped(), Folders(extra) if extra else own())
    return read_model([r.learning for r in roots if r.learning.is_file()][-1], Weights)
