"""How much the shipped priors weigh against closed cases: data, in ``graphs/learning.yaml``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from diagnose.knowledge.model import Number, Strict, Text, read_model
from diagnose.knowledge.parts import Mode, PartKind
from diagnose.knowledge.places import Folders, own, shipped
from diagnose.learning.conjugate import Gamma


class Weights(Strict):
    """What learning takes for granted.

    Parameters
    ----------
    faults: the shipped priors of a part kind count as if so many of its faults had been found.
    surprise: counts whose prior predictive tail is below this contradict the prior.
    apart: a frame gets priors of its own when the counts are so many times likelier under a rate
        for each frame than under one rate for all.
    """

    says: Text
    faults_found: Annotated[Number, Field(gt=0, le=1e6)] = Field(alias="faults")
    surprise: Annotated[Number, Field(gt=0, lt=0.5)]
    apart: Annotated[Number, Field(ge=1)]
    source: Text

    def belief(self, kind: PartKind, mode: Mode | None = None) -> Gamma:
        """The shipped prior of a mode, or of all modes of the kind, with its pseudo-counts.

        The exposure is in part-cases: one part on one machine in one closed case.

        >>> from diagnose.knowledge.base import load_knowledge
        >>> valve = load_knowledge(learned=False).parts["valve"]
        >>> belief = load_weights().belief(valve, valve.mode("coil_open"))
        >>> round(belief.exposure), round(belief.shape, 6), round(belief.mean, 6)
        (500, 0.6, 0.0012)
        """
        exposure = self.faults_found / sum(each.prior for each in kind.modes)
        return Gamma(mode.prior * exposure if mode else self.faults_found, exposure)


def load_weights(extra: Path | None = None) -> Weights:
    """The user's own weights when there are some, else those that ship. Raises `FileProblems`.

    >>> load_weights().surprise
    0.005
    """
    roots = (shipped(), Folders(extra) if extra else own())
    return read_model([root.learning for root in roots if root.learning.is_file()][-1], Weights)
