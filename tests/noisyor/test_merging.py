"""States that merge are added up, few or many of them, as adding one by one would."""

from __future__ import annotations

import numpy as np
import pytest

from diagnose.noisyor.merging import FEW, Merging


@pytest.mark.parametrize("most", [1, 2, FEW, FEW + 1, 3 * FEW])
def test_what_goes_into_one_state_is_added_up(most: int) -> None:
    rng = np.random.default_rng(most)
    into = rng.permutation(np.repeat(np.arange(5), [most, 1, most, 2, 1]))
    into = np.concatenate([into, [5, 5]])
    values = rng.random((3, len(into), 4))
    expected = np.zeros((3, 5, 4))
    for old, new in enumerate(into.tolist()):
        if new < 5:
            expected[:, new] += values[:, old]
    np.testing.assert_allclose(Merging(into, 5).summed(values), expected, rtol=1e-14)
