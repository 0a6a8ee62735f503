# SPDX-License-Identifier: MIT
"""Without waves around the axis the harmonic is the axisymmetric tangent, and torsion besides."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import Judged
from models import CLOSED, FOLLOW, neo_hookean, tube_body, tube_model
from scipy.optimize import brentq

from annelid.solver.continuation.eigenmodes import lowest_eigenmodes
from annelid.solver.continuation.path import Path
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import Material
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping


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
    assert judged.harmonics.resists_torsion()
    mode = judged.harmonics.mode(0)
    assert mode.stiffness == pytest.approx((np.pi / 2 / length) ** 2, rel=1e-4)
    R, Z = judged.system.problem.model.body.points.T
    assert mode.amplitude[:, 1] == pytest.approx(R / 1.5 * np.sin(np.pi * Z / 2 / length), abs=1e-3)


FIBRE, CROSS, SHEAR = 18.0, 4.0, 1.0
SOFT = Material("soft", "fung", {"stiffness": 0.01, "fibre": FIBRE, "cross": CROSS, "shear": SHEAR})


def twisting_stretch():
    """Axial stretch at which a tube of Fung's law in uniaxial compression no longer resists torsion.

    A twist θ(Z) has C + λh (eh eaᵀ + ea ehᵀ) R θ' + ea eaᵀ (R θ')², so that Q grows by (R θ')² times
    fibre Eaa + ½ shear λh² (own derivation from the law), with λh² = 1/λ for an isotropic cross-section.
    """
    return brentq(lambda la: FIBRE * (la**2 - 1) / 2 + SHEAR / la / 2, 0.5, 1.0)


@pytest.mark.long
@pytest.mark.exact
def test_a_compressed_tube_of_a_stiff_axis_twists():
    """Fung's law is the one whose tubes may lose torsion; both the count and the moduli show where."""
    length, counts, resists = 1.0, [], []
    judged = Judged(tube_model(tube_body(1.2, length, along=0.25, through=2), SOFT))
    for more in (-5e-3, 5e-3):
        strain = (1 - twisting_stretch()) * (1 + more)
        judged.at(displacements={"end_high": -strain * length}, steps=2)
        judged.system.factorise()
        counts.append(judged.count(0) - judged.system.unstable_modes())  # those of torsion
        resists.append(judged.harmonics.resists_torsion())
    assert counts[0] == 0 < counts[1]
    assert resists == [True, False]


@pytest.mark.long
def test_a_path_says_where_torsion_is_not_judged():
    strain = 1.2 * (1 - twisting_stretch())
    for share, said in ((0.5, False), (1.0, True)):
        press = Stage("press", displacements={"end_high": -strain * share}, steps=2)
        model = tube_model(tube_body(1.2, 1.0, along=0.25, through=2), SOFT)
        stepping = Stepping(beyond_instability="follow", harmonics="stage ends")
        outcome = Path(model, [press], stepping=stepping).follow()
        assert any("torsion was not judged" in remark for remark in outcome.remarks) == said
