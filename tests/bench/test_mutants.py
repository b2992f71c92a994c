"""Mutants are other programs than the one that they are made of, and come in a module's place."""

from __future__ import annotations

import marshal
import sys
from importlib.util import module_from_spec

import numpy as np
import pytest

from tests.bench.mutants import ROOT, _Finder, code_of, drawn_from, mutants_of

MODULE = ROOT / "diagnose" / "decision" / "belief.py"
MUTANTS = list(mutants_of(MODULE))


def test_every_mutant_is_another_program() -> None:
    whole = compile(MODULE.read_text(encoding="utf-8"), str(MODULE), "exec")
    made = {marshal.dumps(code_of(mutant)) for mutant in MUTANTS}
    assert len(made) > 10
    assert marshal.dumps(whole) not in made


def test_a_mutant_is_loaded_where_its_module_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What comes back from product is nothing; all else is as it was."""
    finder = _Finder(next(each for each in MUTANTS if each.after == "return None"))
    assert finder.find_spec("diagnose.decision") is None
    spec = finder.find_spec("diagnose.decision.belief")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    monkeypatch.setitem(sys.modules, spec.name, module)
    spec.loader.exec_module(module)
    assert module.__file__ == str(MODULE)
    assert module.product(np.ones((1, 2)), np.ones((2, 1))) is None


def test_the_same_seed_draws_the_same_mutants() -> None:
    drawn = [drawn_from(["decision"], 20, seed) for seed in (1, 1, 2)]
    assert drawn[0] == drawn[1] != drawn[2]
