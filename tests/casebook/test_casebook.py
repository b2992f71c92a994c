"""Every case that ships can be read and ranked, and its leading cause is what it teaches."""

from __future__ import annotations

from pathlib import Path

import pytest

from diagnose.api import rank
from diagnose.observations.casefile import read_case_file

CASEBOOK = Path(__file__).parents[2] / "casebook"

LEADS = {
    "cold-morning": "circumstances/oil@1",
    "first-hook-up-of-the-season": "row-1/air:trapped",
    "harness-across-two-sections": "harness-2/branch:open",
    "one-row-at-the-end-of-a-wing": "row-16/valve:coil_shorted",
    "two-far-rows": "row-3/valve:coil_shorted",
    "wing-beyond-a-pinched-hose": "section-1/chain-3:blocked",
}


def test_every_shipped_case_has_a_stated_lead() -> None:
    assert {path.stem for path in CASEBOOK.glob("*.yaml")} == set(LEADS)


@pytest.mark.parametrize(("name", "lead"), LEADS.items())
def test_a_worked_case_is_led_by_what_it_teaches(name: str, lead: str) -> None:
    machine, case = read_case_file(CASEBOOK / f"{name}.yaml")
    assert rank(machine, case).causes[0].id == lead


def test_every_case_says_that_it_is_invented() -> None:
    texts = [path.read_text(encoding="utf-8") for path in CASEBOOK.glob("*.yaml")]
    assert all(text.startswith("# Invented.") for text in texts)
