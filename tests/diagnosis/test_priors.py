"""What is known of the past moves just the priors that rules name, by just their factors."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.diagnosis.history import pasts
from diagnose.diagnosis.model import Model
from diagnose.diagnosis.priors import prior_given
from diagnose.knowledge.base import load_knowledge
from diagnose.machine.graph import load_machine

MODEL = Model(load_machine("mounted-6"), load_knowledge(learned=False))
NOTHING_HAPPENED = {each.id: "no" for each in MODEL.knowledge.of_scope("case").values()}


def odds(told: dict[str, str]) -> dict[tuple[str, str], float]:
    """The prior odds of every mode against a sound part, given a past that was told in full."""
    findings = [
        one
        for past in pasts(MODEL.knowledge)
        for one in past.findings[tuple(told[name] for name in past.circumstances)]
    ]
    prior = prior_given(MODEL, told, findings)
    return {
        (part, mode.id): float(
            prior[MODEL.flat(part, mode.id)] / prior[MODEL.offsets[MODEL.place[part]]]
        )
        for part, kind in MODEL.machine.parts.items()
        for mode in kind.modes
    }


def test_mice_make_five_times_as_likely_what_they_gnaw_and_leave_the_rest_as_it_was() -> None:
    without, gnawed = odds(NOTHING_HAPPENED), odds({**NOTHING_HAPPENED, "rodents": "yes"})
    times = {name: gnawed[name] / without[name] for name in without}
    moved = {name: factor for name, factor in times.items() if abs(factor - 1) > 1e-9}
    assert moved["power/bus", "broken"] == pytest.approx(5)
    assert {MODEL.machine.parts[part].id for part, _ in moved} == {"branch", "bus", "connector"}


def test_a_past_in_which_nothing_happened_leaves_every_prior_of_its_kind() -> None:
    known = MODEL.prior({})
    first = MODEL.offsets[:-1]
    sound = np.repeat(known[first], np.diff(MODEL.offsets))
    expected = {name: float((known / sound)[MODEL.flat(*name)]) for name in odds(NOTHING_HAPPENED)}
    named = {
        str(one.values["part_kind"])
        for past in pasts(MODEL.knowledge)
        for one in past.findings[tuple("no" for _ in past.circumstances)]
    }
    for (part, mode), told in odds(NOTHING_HAPPENED).items():
        if MODEL.machine.parts[part].id not in named:
            assert told == pytest.approx(expected[part, mode]), (part, mode)
