# SPDX-License-Identifier: MIT
"""Without waves around the axis the harmonic is the axisymmetric tangent, and torsion besides."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged
from models import CLOSED, FOLLOW, neo_hookean, tube_body, tube_model

from annelid.solver.continuation.eigenmodes import lowest_eigenmodes
from annelid.solver.continuation.path import Path
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.boundary import Support
from annelid.solver.model.stages import Stage


def test_a_closed_tube_past_its_pressure_maximum():
    """The same count and lowest mode as those of the axisymmetric tangent, which knows no torsion."""
    model = tube_model(tube_body(1.1, along=0.25), neo_hookean(), CLOSED)
    path = Path(model, [Stage("blow", volume=14.0, control="volume", steps=6)], stepping=FOLLOW)
    assert path.follow().kind == "reached"
    path.system.factorise()
    harmonics = HarmonicStability(path.system)
    assert harmonics.count(0) == path.system.unstable_modes() == 1
    mode = harmonics.mode(0)
    assert mode.stiffness == pytest.approx(lowest_eigenmodes(path.system)[0].stiffness, rel=1e-6)
    a, b, c = mode.amplitude.T
    plate = model.body.surface_nodes("end_high")
    assert np.ptp(c[plate]) < 1e-9
    assert np.abs(c[plate]).max() > 0.1
    assert np.abs(b).max() < 1e-6 < np.abs(a).max()


@pytest.mark.exact
def test_the_softest_mode_of_a_long_tube_is_torsion():
    """Clamped at one end, k = μ (π/2L)² of a shaft with unit density (torsional waves; any textbook)."""
    length = 20.0
    supports = (Support("end_low", "all"), Support("end_high", "axial"))
    judged = Judged(tube_model(tube_body(1.5, length, along=1.0, through=2), neo_hookean(), supports))
    mode = judged.harmonics.mode(0)
    assert mode.stiffness == pytest.approx((np.pi / 2 / length) ** 2, rel=1e-4)
    R, Z = judged.system.problem.model.body.points.T
    assert mode.amplitude[:, 1] == pytest.approx(R / 1.5 * np.sin(np.pi * Z / 2 / length), abs=1e-3)
