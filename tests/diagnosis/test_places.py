"""How likely something is wrong at a place: exact also where a swap brought faults together."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.diagnosis.places import suspicion
from diagnose.inference.posterior import log_evidence
from diagnose.knowledge.base import load_knowledge
from diagnose.observations.state import replay
from diagnose.projection import Projection
from tests.reports.stories import SWAP, found_on_mounted_12, run, section_on_folding_24, story

KNOWLEDGE = load_knowledge()


def test_without_swaps_the_modes_of_a_part_add_up() -> None:
    ranking = Projection(replay(section_on_folding_24()), KNOWLEDGE).ranking
    sums: dict[str, float] = {}
    for cause in ranking.causes:
        sums[cause.part] = sums.get(cause.part, 0.0) + cause.probability
    found = suspicion(ranking)
    assert found == pytest.approx({part: sums[part] for part in found})
    assert {part for part, total in sums.items() if part != "run-1" and total > 0.001} >= {
        part for part in found if found[part] > 0.001
    }


def test_after_a_swap_either_fault_counts_by_inclusion_and_exclusion() -> None:
    events = story("mounted-12", run("response", 12, [5]), SWAP, run("response", 12, [6], [5, 6]))
    ranking = Projection(replay(events), KNOWLEDGE).ranking
    evidence = ranking.evidence
    epochs = evidence.epochs
    here = [c for c in ranking.causes if c.group == "row" and _at(epochs, c) == "row-6/valve"]
    by_part = {part: [c for c in here if c.part == part] for part in {c.part for c in here}}
    assert len(by_part) == 2
    single = sum(cause.probability for cause in here)
    both = {
        part: [
            s - int(evidence.offsets[evidence.variables.index(part)])
            for c in causes
            for s in c.states
        ]
        for part, causes in by_part.items()
    }
    joint = np.exp(log_evidence(evidence.network.restricted(both)) - ranking.posterior.log_evidence)
    assert suspicion(ranking)["row-6/valve"] == pytest.approx(single - float(joint), abs=1e-9)


def _at(epochs: object, cause: object) -> str:
    return str(epochs.place_of(cause.part, cause.mode))  # type: ignore[attr-defined]


def test_a_coil_that_was_replaced_is_no_longer_suspected() -> None:
    found = suspicion(Projection(replay(found_on_mounted_12()), KNOWLEDGE).ranking)
    assert found.get("row-6/valve", 0.0) < 0.05
