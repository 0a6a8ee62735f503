# SPDX-License-Identifier: MIT
"""Snap-through of clamped shallow spherical caps under uniform pressure.

Source: λ = 2 [3 (1 - ν²)]^(1/4) (h/t)^(1/2) and p_cl = 2 E (t/R)² / √(3 (1 - ν²)); axisymmetric snap
pressures recomputed by a Reissner-Marguerre boundary value problem for ν = 1/3. The curves of Budiansky
(1959) and Huang (1964) are from memory.
"""

import numpy as np
import pytest

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Layer
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

pytestmark = pytest.mark.reference

NU = 1 / 3
SNAP = [(3.5, 0.60630), (4.0, 0.57349), (4.5, 0.58301), (5.0, 0.62761)]
WORK = 5e-3  # of the energy, by a rule of second order
SHALLOW = 400.0  # R/t of the middle surface


@pytest.mark.parametrize(("λ", "share"), SNAP)
def test_clamped_shallow_cap_snaps(λ, share):
    t, R = 1.0, SHALLOW
    rise = t * (λ / (2 * (3 * (1 - NU**2)) ** 0.25)) ** 2
    rim = np.sqrt(2 * R * rise - rise**2)
    inwards = 1 - t / (2 * R)  # from the middle surface to the inner face
    body = build(
        Dome(rim * inwards, rise * inwards, (Layer("shell", t),)), MeshSize(along=rim / 24, through=2)
    )
    young = 2 * (1 + NU)
    stiff = Material("stiff", "neo-hookean", {"shear_modulus": 1.0}, bulk_modulus=young / (3 * (1 - 2 * NU)))
    classical = 2 * young * (t / R) ** 2 / np.sqrt(3 * (1 - NU**2))
    model = Model(body, (Part("shell", stiff),), (Support("end_low", "all"),))
    states = []
    push = Stage("push", pressure=-classical, control="arc", arc=2.5 * rise, steps=60)
    outcome = Path(model, (push,), stepping=Stepping(beyond_instability="follow")).follow(
        observe=states.append
    )
    first = next(state for state in states if state.critical)
    assert outcome.kind == "reached"
    assert first.critical == "limit point"
    assert -first.loads["pressure"].value / classical == pytest.approx(share, rel=0.02)
    assert first.unstable_modes == 0
    assert states[first.index + 1].unstable_modes == 1
    # dU = P dV, by the trapezoidal rule over the states. The rim is fixed, so the change of the cavity is the
    # displaced volume.
    P, V, swept, U = (
        np.array([column(state) for state in states])
        for column in (
            lambda s: s.loads["pressure"].value,
            lambda s: s.quantities["volume change"].value,
            lambda s: s.quantities["displaced volume"].value,
            lambda s: s.quantities["strain energy"].value,
        )
    )
    assert swept == pytest.approx(V, abs=1e-8 * np.ptp(V))
    work = np.concatenate([[0.0], np.cumsum((P[1:] + P[:-1]) / 2 * np.diff(V))])
    assert np.abs(U - work).max() < WORK * U.max()
