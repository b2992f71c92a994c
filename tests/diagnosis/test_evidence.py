"""Evidence: every thing known counts once, in one place."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.diagnosis.causes import Ranking
from diagnose.errors import ImpossibleEvidence
from diagnose.inference.posterior import posterior
from tests.diagnosis.situations import both_checks, ranked


def test_priors_of_every_variable_sum_to_one() -> None:
    evidence = both_checks("mounted-12", [], [6]).evidence
    totals = np.add.reduceat(evidence.prior, evidence.offsets[:-1])
    assert totals == pytest.approx(1)


def test_no_results_leave_every_cause_at_its_prior() -> None:
    ranking = ranked("mounted-6", "response=??????")
    assert all(c.probability == pytest.approx(c.prior) for c in ranking.causes)


def test_passes_alone_never_make_a_part_more_likely_to_be_faulty() -> None:
    evidence = (ranking := ranked("mounted-6", "bleed=PPPPPP")).evidence
    sound = evidence.offsets[:-1]
    assert (ranking.posterior.flat[sound] >= evidence.prior[sound] - 1e-12).all()


def test_a_stated_good_circumstance_cannot_have_spoiled_the_run() -> None:
    ids = {cause.id for cause in ranked("mounted-6", "response=FPPPPP", "oil=54C").causes}
    assert "circumstances/oil@1" not in ids
    assert "circumstances/supply@1" in ids


def test_first_hook_up_makes_air_likelier_and_nothing_else_does_so_twice() -> None:
    plain = ranked("mounted-6", "bleed=FPPPPP").groups["air"]
    hooked_up = ranked("mounted-6", "first-hookup=yes", "bleed=FPPPPP").groups["air"]
    assert hooked_up > plain


def test_a_coil_that_reads_open_is_an_open_coil() -> None:
    ranking = ranked("mounted-6", "response=PPFPPP", "coil-resistance@row-3=100000ohm")
    assert ranking.causes[0].id == "row-3/valve:coil_open"
    assert ranking.causes[0].probability > 0.9


def test_a_good_reading_speaks_against_what_it_would_have_shown() -> None:
    before = _coil(ranked("mounted-6", "response=PPFPPP"))
    assert _coil(ranked("mounted-6", "response=PPFPPP", "coil-resistance@row-3=8ohm")) < before / 5


def test_the_same_reading_taken_again_tells_nothing_new() -> None:
    words = ("response=PPFPPP", "coil-resistance@row-3=100000ohm")
    once, twice = ranked("mounted-6", *words), ranked("mounted-6", *words, words[1])
    assert _coil(twice) == pytest.approx(_coil(once), abs=1e-12)
    assert _coil(ranked("mounted-6", *words, "coil-resistance@row-3=8ohm")) < _coil(once)


def _coil(ranking: Ranking) -> float:
    modes = ("coil_open", "coil_shorted")
    return sum(cause.probability for cause in ranking.causes if cause.mode in modes)


def test_groups_agree_with_the_sum_of_exclusive_single_causes_and_more() -> None:
    ranking = both_checks("mounted-12", [], [6])
    for group, probability in ranking.groups.items():
        members = [c.probability for c in ranking.causes if c.group == group]
        assert max(members) - 1e-9 <= probability <= sum(members) + 1e-9


def test_leaving_out_nothing_changes_nothing() -> None:
    network = both_checks("mounted-6", [], [2]).evidence.network
    assert posterior(network.without([])).flat == pytest.approx(posterior(network).flat)


def test_results_that_cannot_stand_together_are_named(monkeypatch: pytest.MonkeyPatch) -> None:
    ranking = ranked("mounted-6", "response=FPPPPP")
    sealed = ranking.evidence.network
    object.__setattr__(sealed, "prior", np.where(sealed.prior > 0.5, 1.0, 0.0))
    object.__setattr__(sealed, "leak", np.zeros_like(sealed.leak))
    other = Ranking(ranking.evidence)
    monkeypatch.setitem(vars(ranking.evidence), "network", sealed)
    with pytest.raises(ImpossibleEvidence, match="response@1#1"):
        _ = other.posterior
