# SPDX-License-Identifier: MIT
"""Prescribed charge on electrodes whose potential is solved.

Sources: the free tube with a radial field (``exact.dielectric``: own derivation, structure of Melnikov,
Ogden, ZAMP 67, 140 (2016)), the cylindrical capacitor, and the layered model of the same thin sheets.
"""

import numpy as np
import pytest
from dielectric_cases import EPS, RUBBER, follow, inner_stretch, value, volts
from dolfinx import fem
from exact import dielectric

from annelid.geometry.errors import InputError
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.assembly.charges import charge_of
from annelid.solver.continuation.path import Path
from annelid.solver.energy import forms
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage

LENGTH = 0.5  # mm
FREE_ENDS = (Support("end_low", "axial"), Support("end_high", "plate"))
PULL_IN = {1.05: 0.68737619, 1.5: 0.68818492}  # B/A, largest v of the free tube, recomputed
LIMIT = 1e-4  # of that voltage, which is flat there
STATE = 1e-3  # of voltage and charge at the shape found
SLOPE = 1e-6  # of a central difference


def wall(ratio, *, layers=1, count=1, electrics="solved", supports=FREE_ENDS):
    """A tube of one or more sheets in parallel."""
    thickness = (ratio - 1) / layers
    names = [f"sheet_{i}" for i in range(layers)]
    body = build(
        Tube(1.0, LENGTH, tuple(Layer(name, thickness) for name in names)),
        MeshSize(along=LENGTH, through=4 // layers),
        [Band(f"on_{name}", name, 0.0, LENGTH) for name in names],
    )
    return Model(
        body,
        tuple(Part(name, RUBBER, Sheets(count, thickness / count)) for name in names),
        supports,
        electrodes=tuple(Electrode(f"on_{n}", ("outer", "inner")[i % 2]) for i, n in enumerate(names)),
        electrics=electrics,
    )


def charged(model, charge, steps=14):
    names = [e.name for e in model.electrodes]
    share = dict.fromkeys(names, charge / len(names))
    return follow(model, Stage("charge", charges=share, control="charge", steps=steps), beyond="follow")


def shape_of(state):
    return inner_stretch(state)[0], 1 - value(state, "axial shortening")


def exact_charge(ratio, la, lz, v):
    return EPS * LENGTH * dielectric.tube_radial_capacitance(ratio, lz, la) * volts(v, ratio - 1)


@pytest.mark.exact
@pytest.mark.parametrize("ratio", PULL_IN)
def test_free_tube_passes_pull_in_under_charge_control(ratio):
    lz = dielectric.axial_stretch_without_force(ratio, 1.7, radial=True)
    end = exact_charge(ratio, 1.7, lz, dielectric.tube_radial_voltage(ratio, lz, 1.7))
    states, outcome = charged(wall(ratio), end)
    assert outcome.kind == "reached", outcome.text
    # Past pull-in the charge of a thin tube may also become uneven; the path follows the even states.
    (top,) = [s for s in states if s.critical == "limit point"]
    assert top.loads["voltage on_sheet_0"].value == pytest.approx(volts(PULL_IN[ratio], ratio - 1), rel=LIMIT)
    assert sum(s.index > top.index for s in states) >= 4
    for state in states[1:]:
        la, lz = shape_of(state)
        v = state.loads["voltage on_sheet_0"].value / volts(1.0, ratio - 1)
        assert dielectric.tube_radial_voltage(ratio, lz, la) == pytest.approx(v, rel=STATE)
        assert dielectric.axial_stretch_without_force(ratio, la, radial=True) == pytest.approx(lz, rel=STATE)
        assert value(state, "charge") == pytest.approx(exact_charge(ratio, la, lz, v), rel=STATE)
        assert (state.unstable_modes > 0) == (state.index > top.index)
        assert state.unstable_modes_controlled == max(0, state.unstable_modes - 1)
    assert value(states[-1], "charge") == pytest.approx(end, rel=1e-8)
    assert shape_of(states[-1])[0] == pytest.approx(1.7, rel=STATE)


def test_parallel_sheets_share_charge_as_layered_ones():
    """Two thin sheets on one shared electrode have the equilibrium of two layered sheets."""
    charge = 0.9 * 4 * exact_charge(1.01, 1.25, 1.25, 0.68)
    drawn, _ = charged(wall(1.01, layers=2), charge, steps=6)
    lumped, _ = charged(wall(1.01, count=2, electrics="layered"), charge, steps=6)
    assert shape_of(drawn[-1])[0] > 1.1
    assert shape_of(drawn[-1]) == pytest.approx(shape_of(lumped[-1]), rel=STATE)
    volts_of = [s[-1].loads[f"voltage {e}"].value for s, e in ((drawn, "on_sheet_0"), (lumped, "on_sheet_0"))]
    assert volts_of[0] == pytest.approx(volts_of[1], rel=STATE)
    assert value(drawn[-1], "charge") == pytest.approx(charge, rel=1e-8)


def test_charge_and_its_slopes_are_derivatives():
    """Central differences of Π by the voltage, of Q by the voltage and by the unknowns, at fixed unknowns."""
    model = wall(1.5, supports=(Support("end_low", "axial"), Support("end_high", "axial")))
    path = Path(model, (Stage("on", voltages={"on_sheet_0": volts(0.5, 0.5)}, steps=2),))
    path.follow()
    system = path.system
    charge = charge_of(system, ("on_sheet_0",))
    potential = forms.compile_forms(path.problem.internal_energy())
    base, loads = system.x.copy(), system.loads
    gradient = system.vector()
    charge.gradient(gradient)
    slope, Q = charge.slope(), charge.value()

    def at(volt, direction=None, step=0.0):
        """Π and Q with the inner unknowns moved along a direction."""
        base.copy(system.x)
        if direction is not None:
            system.x.axpy(step, direction)
        system.apply(type(loads)(voltages={"on_sheet_0": volt}, forces=loads.forces))
        system.assemble_residual()
        return system.sum(fem.assemble_scalar(potential)), charge.value()

    V = loads.voltages["on_sheet_0"]
    h = 1e-4 * V
    (Πm, Qm), (Πp, Qp) = at(V - h), at(V + h)
    assert -(Πp - Πm) / (2 * h) == pytest.approx(Q, rel=SLOPE)
    assert (Qp - Qm) / (2 * h) == pytest.approx(slope, rel=SLOPE)
    direction = system.vector()
    direction.array_w[:] = np.random.default_rng(1).standard_normal(direction.getLocalSize())
    system.zero_fixed(direction)
    direction.scale(1e-3 / direction.norm())
    at(V, direction, 1.0)  # the nodes of a plate move together
    system.x.copy(direction)
    direction.axpy(-1.0, base)
    (_, Qm), (_, Qp) = at(V, direction, -1e-3), at(V, direction, 1e-3)
    assert abs(gradient.dot(direction)) > 1e-3 * abs(Q) * 1e-3
    assert (Qp - Qm) / 2e-3 == pytest.approx(gradient.dot(direction), rel=SLOPE)


def test_touching_faces_cannot_be_charged_separately():
    stage = Stage("s", charges={"on_sheet_0": 1e-3}, control="charge")
    with pytest.raises(InputError, match="'on_sheet_0' and 'on_sheet_1' touch and carry one charge"):
        Path(wall(1.1, layers=2), (stage,))
