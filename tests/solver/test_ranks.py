# SPDX-License-Identifier: MIT
"""Equal results on one rank and on two."""

import numpy as np
import pytest
from on_ranks import on_ranks
from rank_script import CASES, results

SAME = 1e-9  # relative to the largest entry of each array


@pytest.fixture(scope="module")
def on_two_ranks(tmp_path_factory):
    """Results of the script on two ranks."""
    return on_ranks("rank_script.py", 2, tmp_path_factory.mktemp("ranks") / "two.npz")


@pytest.fixture(scope="module")
def on_one_rank():
    return results()


@pytest.mark.mpi
def test_two_ranks_were_used(on_two_ranks):
    assert on_two_ranks["ranks"] == 2


@pytest.mark.mpi
@pytest.mark.parametrize("case", CASES)
def test_results_are_those_of_one_rank(on_one_rank, on_two_ranks, case):
    serial = {k: v for k, v in on_one_rank.items() if k.startswith(case)}
    assert len(serial) > 10
    assert serial.keys() == {k for k in on_two_ranks if k.startswith(case)}
    for key, value in serial.items():
        other = on_two_ranks[key]
        if value.dtype.kind in "Ui":
            assert np.array_equal(value, other), key
            continue
        scale = np.abs(value[np.isfinite(value)]).max(initial=1.0)
        np.testing.assert_allclose(other, value, rtol=0, atol=SAME * scale, err_msg=key)
