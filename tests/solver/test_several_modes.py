# SPDX-License-Identifier: MIT
"""Modes that change within one step: separate ones are distinguished, coincident ones reported together.

Sources: the pressure maximum of the closed tube (Rivlin 1949, from memory, by exact/tube.py), behind which a
long tube bulges (Kyriakides, Chang, Int. J. Solids Struct. 27, 1085 (1991), from memory); Euler's clamped
column at 4π²EI/L², which has no preferred direction.
"""

import numpy as np
import pytest
from exact import tube
from models import CLAMPED, CLOSED, FOLLOW, neo_hookean, run, tube_body, tube_model
from scipy.optimize import minimize_scalar

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.path import Path
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

LOCATED = 1e-5  # relative, of pressures on the same mesh
EULER = 0.03  # of the strain at buckling, without shear and shortening
LONG = 12.0


def long_tube(steps, beyond="follow"):
    model = tube_model(tube_body(1.1, length=LONG, along=0.75, through=1), neo_hookean(), CLOSED)
    stage = Stage("arc", pressure=0.2, control="arc", arc=3.0, steps=steps)
    outcome, states = run(model, [stage], stepping=Stepping(beyond_instability=beyond))
    return outcome, [s for s in states if s.critical], states


@pytest.mark.exact
def test_limit_point_and_bulge_are_distinguished():
    _, found, states = long_tube(6)
    _, reference, _ = long_tube(60)
    between = [s for s in states if s.index < found[0].index]
    assert between[-1].unstable_modes == 0
    following = next(s for s in states if s.index > found[0].index and not s.critical)
    assert following.unstable_modes >= 2  # both changed within the step
    assert (
        [s.critical for s in found[:2]]
        == [s.critical for s in reference[:2]]
        == ["limit point", "bifurcation"]
    )
    for one, two in zip(found[:2], reference[:2], strict=True):
        assert one.loads["pressure"].value == pytest.approx(two.loads["pressure"].value, rel=LOCATED)
        assert one.quantities["lumen volume"].value == pytest.approx(
            two.quantities["lumen volume"].value, rel=1e-3
        )
    assert [s.unstable_modes for s in found[:2]] == [0, 1]
    W = tube.mooney_rivlin(0.5)
    top = minimize_scalar(
        lambda la: -tube.pressure_and_force(W, 1.0, 1.1, la, tube.capped_stretch(W, 1.0, 1.1, la))[0],
        bounds=(1.3, 2.0),
        method="bounded",
    )
    assert found[0].loads["pressure"].value == pytest.approx(-top.fun, rel=1e-4)
    assert found[1].loads["pressure"].value < found[0].loads["pressure"].value


def test_modes_are_located_in_unstable_states():
    """The number of modes at located points changes by one, and their positions are those of a finer path."""
    _, found, _ = long_tube(6)
    _, reference, _ = long_tube(60)
    assert len(found) >= 3
    for one, two in zip(found, reference, strict=False):
        assert one.critical == two.critical
        assert one.unstable_modes == two.unstable_modes
        assert one.quantities["lumen volume"].value == pytest.approx(
            two.quantities["lumen volume"].value, rel=1e-3
        )


@pytest.mark.exact
def test_round_column_buckles_in_two_modes_together():
    """A clamped round column buckles at a strain of 4π² I/(A L²), in two directions at once."""
    inner, wall, length = 0.5, 0.5, 30.0
    body = build(
        Tube(inner, length, (Layer("wall", wall),)),
        MeshSize(model="solid", along=length / 10, through=1, around=8),
    )
    model = Model(body, (Part("wall", neo_hookean()),), CLAMPED)
    path, states = (
        Path(model, [Stage("press", displacements={"end_high": -0.5}, steps=2)], stepping=FOLLOW),
        [],
    )
    outcome = path.follow(observe=states.append)
    (point,) = [s for s in states if s.critical]
    assert point.critical == "bifurcation"
    assert any(remark.endswith("2 modes together") for remark in outcome.remarks)
    assert states[-1].unstable_modes == 2
    radius_squared = (inner**2 + (inner + wall) ** 2) / 4
    euler = 4 * np.pi**2 * radius_squared / length**2
    assert -point.loads["displacement end_high"].value / length == pytest.approx(euler, rel=EULER)
