# SPDX-License-Identifier: MIT
"""Counts and modes of harmonics do not depend on the number of ranks."""

import numpy as np
import pytest
from on_ranks import on_ranks

COUNTS = {  # the sphere turns at 0.869 μ, the tube at 0.069 μ, the dielectric tube at 0.376 (m = 3) and 0.398
    "free_sphere": [1, 1, 1, 0],
    "closed_tube": [0, 0, 1, 0],
    "solved_potential": [0, 0, 0, 1],
}


@pytest.mark.long
@pytest.mark.mpi
def test_one_and_two_ranks_agree(tmp_path):
    one, two = (on_ranks("harmonics/harmonics_on_ranks.py", n, tmp_path / f"{n}.npz") for n in (1, 2))
    for name, counts in COUNTS.items():
        assert list(one[f"{name} count"]) == list(two[f"{name} count"]) == counts
        assert two[f"{name} stiffness"] == pytest.approx(one[f"{name} stiffness"], rel=1e-6)
        assert np.abs(two[f"{name} mode"] - one[f"{name} mode"]).max() < 1e-5
