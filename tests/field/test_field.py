"""Field cases with answers that an experienced technician gives without thinking."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest
import yaml

from diagnose import load_machine, plan, rank, read_typed
from diagnose.planner.verification import Proof

CASES = yaml.safe_load((Path(__file__).parent / "cases.yaml").read_text(encoding="utf-8"))["cases"]
WARM = ("oil=55C", "engine=on", "moving=no")
GOOD = {
    "bleed": ("supply=900psi", "bleed-hose=fitted"),
    "response": ("supply=2600psi", "bleed-hose=stowed"),
}


def spelled(typed: Sequence[str]) -> Iterator[str]:
    """What is typed, with the circumstances that a run has unless the case says else."""
    for place, word in enumerate(typed):
        yield from WARM if word == "WARM" else (word,)
        said = {each.partition("=")[0] for each in typed[place + 1 : place + 3]}
        good = GOOD.get(word.partition("=")[0], ())
        yield from (each for each in good if each.partition("=")[0] not in said)


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_the_answer_is_a_technicians(case: dict[str, Any]) -> None:
    machine = load_machine(case["machine"])
    told = read_typed(machine, list(spelled(case["typed"])))
    if "proven" in case:
        assert Proof(rank(machine, told)).holds is case["proven"]
    if "next" in case:
        act = plan(machine, told).act
        assert act is not None
        assert act.id.startswith(tuple(case["next"])), act.id
