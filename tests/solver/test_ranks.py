# SPDX-License-Identifier: MIT
"""Equal results on one rank and on two."""

import numpy as np
import pytest
from on_ranks import on_ranks
from rank_script import CASES, QUICK, results

SAME = 1e-9  # relative to the largest entry of each array
LONG = [pytest.param(name, marks=pytest.mark.long) for name in CASES if name not in QUICK]


@pytest.mark.mpi
@pytest.mark.parametrize("case", [*QUICK, *LONG])
def test_two_ranks_have_the_results_of_one(tmp_path, case):
    serial = results([case])  # first, because two ranks compile no faster than one
    two = on_ranks("rank_script.py", 2, tmp_path / "two.npz", case)
    assert two.pop("ranks") == 2
    assert len(serial) > 10
    assert serial.keys() == two.keys()
    for key, value in serial.items():
        other = two[key]
        if value.dtype.kind in "Ui":
            assert np.array_equal(value, other), key
            continue
        scale = np.abs(value[np.isfinite(value)]).max(initial=1.0)
        np.testing.assert_allclose(other, value, rtol=0, atol=SAME * scale, err_msg=key)
