"""The same reading of what nobody touched is one observation, however often it is made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.planner.candidates import measurements
from tests.diagnosis.situations import BLEED, RESPONSE, STEADY, ranked

FAILED = (*STEADY, "bleed=PPPPPP", *BLEED, "response=PPPPPF", *RESPONSE)
ELSEWHERE = (
    "bleed-again@row-6/air=done",
    "reseat-connector@row-2/connector=done",
    "swap-coil@row-3=row-4",
    "reseat-coupler@supply/coupler=done",
)
"""Work that can change nothing of what row 6's code, coil or valve shows."""

READINGS = (
    "valve-code@row-6=none",
    "valve-code@row-6=5",
    "coil-resistance@row-6=8ohm",
    "coil-resistance@row-6=2ohm",
    "look-leak@row-6/valve=no",
)


def beliefs(ranking: Ranking) -> dict[str, float]:
    return {cause.id: cause.probability for cause in ranking.causes}


def differ(one: Sequence[str], other: Sequence[str]) -> float:
    """The most by which any cause is likelier after one story than after another."""
    first, second = (beliefs(ranked("mounted-6", *FAILED, *story)) for story in (one, other))
    return max(abs(first[id] - second[id]) for id in first)


@pytest.mark.parametrize("reading", READINGS)
def test_repeating_a_reading_with_work_elsewhere_moves_nothing(reading: str) -> None:
    for k in range(1, len(ELSEWHERE) + 1):
        work = ELSEWHERE[:k]
        again = [word for each in work for word in (each, reading)]
        assert differ([reading, *again], [reading, *work]) < 1e-12


def test_random_stories_with_every_reading_repeated_say_what_they_said() -> None:
    rng = np.random.default_rng(5)
    for _ in range(5):
        once = [*rng.permutation(READINGS[::2])[:2], *rng.permutation(ELSEWHERE)[:2]]
        again = [word for word in once if "=done" not in word and "swap" not in word]
        assert differ([*once, *again, *again], once) < 1e-12


@pytest.mark.parametrize(
    ("reading", "work"),
    [
        ("coil-resistance@row-6=8ohm", "replace-coil@row-6/valve=done"),
        ("coil-resistance@row-6=8ohm", "swap-coil@row-6=row-5"),
        ("valve-code@row-6=none", "reseat-connector@row-6/connector=done"),
    ],
)
def test_after_work_that_can_change_it_a_reading_is_news(reading: str, work: str) -> None:
    assert differ([reading, work, reading], [reading, work]) > 1e-5


def test_what_reads_otherwise_is_news_once() -> None:
    none, five, bled = "valve-code@row-6=none", "valve-code@row-6=5", ELSEWHERE[0]
    assert differ([none, bled, five], [none, bled]) > 1e-2
    assert differ([none, bled, five, none, five], [none, bled, five]) < 1e-12


def test_what_shows_once_more_after_work_upstream_speaks_for_no_fault_of_the_row_twice() -> None:
    """A stuck valve that has shown in a code is sure to show again: only others are ruled out."""
    code, reseated = "valve-code@row-6=7", "reseat-coupler@supply/coupler=done"
    once, often = (
        beliefs(ranked("mounted-6", *FAILED, code, *[reseated, *again] * 4))
        for again in ([], [code])
    )
    stuck, sluggish = "row-6/valve:stuck_closed", "row-6/valve:sluggish"
    assert often[stuck] / often[sluggish] == pytest.approx(once[stuck] / once[sluggish], rel=0.02)


def offered(*story: str) -> set[str]:
    return {each.id for each in measurements(ranked("mounted-6", *FAILED, *story).evidence, 6)}


def test_a_reading_is_proposed_again_only_after_work_that_can_change_it() -> None:
    act = "coil-resistance@row-6/valve"
    read = "coil-resistance@row-6=8ohm"
    assert act in offered()
    assert act not in offered(read, *ELSEWHERE)
    assert act in offered(read, "replace-coil@row-6/valve=done")
    assert act in offered(read, "swap-coil@row-6=row-5")
    assert act not in offered(read, "swap-coil@row-6=row-5", "swap-coil@row-6=row-5")


def test_a_stuck_valve_is_as_likely_after_four_codes_as_after_one() -> None:
    bleeds = ["bleed-again@row-6/air=done", "response=.....F", *RESPONSE] * 3
    none = "valve-code@row-6=none"
    told = [*bleeds[:5], none, *bleeds[5:10], none, *bleeds[10:], none]
    first, often = ([none, *bleeds], [none, *told])
    assert differ(often, first) < 1e-12
