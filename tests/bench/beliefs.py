"""What a planner would believe that knew a world as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from diagnose.diagnosis.model import Model
from diagnose.knowledge.base import load_knowledge
from diagnose.knowledge.parts import PartKind
from diagnose.machine.graph import load_machine

if TYPE_CHECKING:
    from tests.bench.practice import Setting


def informed(machine_id: str, setting: Setting) -> Model:
    """The model of a machine with the priors and chances of a setting."""
    known = load_knowledge()
    kinds = {name: _as_it_is(kind, setting) for name, kind in known.parts.items()}
    knowledge = replace(known, parts=kinds)
    return Model(load_machine(machine_id, knowledge), knowledge)


def _as_it_is(kind: PartKind, setting: Setting) -> PartKind:
    factor = (setting.factors or {}).get(kind.id, 1.0)
    whole = 1 + sum(mode.prior * (factor - 1) for mode in kind.modes)
    modes = tuple(
        mode.model_copy(
            update={
                "prior": mode.prior * factor / whole,
                "shows": _shifted(mode.shows, setting.shift),
            }
        )
        for mode in kind.modes
    )
    measurements = tuple(
        one.model_copy(
            update={
                "results": tuple(
                    bad.model_copy(update={"sees": _shifted(bad.sees, setting.shift)})
                    for bad in one.results
                )
            }
        )
        for one in kind.measurements
    )
    return kind.model_copy(update={"modes": modes, "measurements": measurements})


def _shifted(chances: Mapping[str, float], shift: float) -> dict[str, float]:
    return {
        name: float(np.clip(chance + shift, 0.02, 0.99)) if chance else 0.0
        for name, chance in chances.items()
    }
