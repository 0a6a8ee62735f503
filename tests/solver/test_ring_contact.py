# SPDX-License-Identifier: MIT
"""Long tubes that collapse under suction until their walls touch, with two and three lobes.

Source: elastica of exact/ring.py; its ring of two lobes touches at p R³/(E I) = 5.247 with the half opening 0
(Flaherty, Keller & Rubinow, SIAM J. Appl. Math. 23, 446, 1972, from memory; recomputed), of three at 21.65.
A wall of the thickness t in plane strain has E I = μ t³/3 and touches when its middle line is t/2 from the
plane of symmetry. Suction on the inner face works like pressure on the middle line: the areas within parallel
curves differ by a constant.
"""

from functools import cache

import numpy as np
import pytest
from exact import ring
from models import neo_hookean, value

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Support
from annelid.solver.model.contact import Contact
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

# Half opening, half width over R, and p R³/(E I) of the ring of two lobes.
TABLE = (
    (0.97, 1.02902, 3.002206),
    (0.73, 1.205343, 3.15135),
    (0.49, 1.310244, 3.510258),
    (0.25, 1.362547, 4.131024),
    (0.13, 1.371651, 4.586654),
    (1e-6, 1.369546, 5.246881),
)
THICK, LENGTH, TOLERANCE = 0.05, 1.0, 0.002  # mm, radius of the middle line 1 mm
FIRST = 1e-2  # of the pressure at first contact: walls of 1/20, eighteen elements a quarter
FORCE = 2e-2  # of the contact force at 1.2 times that pressure
BENDING = THICK**3 / 3  # E I per length, μ = 1


@pytest.mark.exact
@pytest.mark.parametrize(("opening", "width", "σ"), TABLE)
def test_elastica_is_the_tabulated_one(opening, width, σ):
    lobe = ring.free_lobe(opening)
    assert (lobe.points[0, 0], lobe.σ) == pytest.approx((width, σ), rel=1e-5)
    assert lobe.points[-1] == pytest.approx([0, opening], abs=1e-9)


@pytest.mark.exact
def test_three_thin_lobes_touch_at_the_published_pressure():
    assert ring.touching_lobes(1e-6).σ == pytest.approx(21.65, rel=1e-3)


@cache
def collapsing(lobes):
    """Half a lobe of a tube under increasing suction, which may buckle towards either plane."""
    angle = 180 / lobes
    body = build(
        Tube(1 - THICK / 2, LENGTH, (Layer("wall", THICK),)),
        MeshSize(model="sector", along=LENGTH, through=1, around=72, sector=angle),
    )
    planes = (("low", 90.0), ("high", angle - 90.0))  # sides of the sector with inward normals
    model = Model(
        body,
        (Part("wall", neo_hookean()),),
        (Support("end_low", "axial"), Support("end_high", "axial")),
        contacts=tuple(Contact(name, "lumen", "side", angle=a, tolerance=TOLERANCE) for name, a in planes),
    )
    first = first_contact(lobes)
    shares = (("collapse", 0.85, 4), ("near", 1 - FIRST, 3), ("touch", 1 + FIRST, 1), ("press", 1.2, 3))
    stages = [Stage(name, pressure=-x * first * BENDING, steps=n) for name, x, n in shares]
    states = []
    outcome = Path(model, stages, stepping=Stepping(beyond_instability="branch")).follow(
        observe=states.append
    )
    assert outcome.kind == "reached", outcome.text
    return model, states


def first_contact(lobes):
    """p R³/(E I) at which inner faces first touch the plane of symmetry."""
    return (ring.free_lobe(THICK / 2) if lobes == 2 else ring.touching_lobes(THICK / 2)).σ


def contact_of(states):
    """Name of the plane in contact."""
    return max(("low", "high"), key=lambda name: value(states[-1], f"contact force {name}"))


@pytest.mark.exact
@pytest.mark.reference
@pytest.mark.parametrize("lobes", [pytest.param(2, marks=pytest.mark.long), 3])
def test_first_contact_of_a_collapsing_tube(lobes):
    model, states = collapsing(lobes)
    start = next(state for state in states if state.critical)
    assert start.critical == "bifurcation"
    assert -start.loads["pressure"].value / BENDING == pytest.approx(lobes**2 - 1, rel=FIRST)
    name = contact_of(states)
    for state in states:
        force = value(state, f"contact force {name}")
        if state.stage in ("collapse", "near"):
            assert force == 0.0
        elif state.parameter > 1 - 1e-9:
            assert force > 0.0
        other = "high" if name == "low" else "low"
        assert value(state, f"contact force {other}") == value(state, f"contact length {other}") == 0.0
        assert (value(state, f"contact length {name}") > 0) == (force > 0)
        assert value(state, f"penetration {name}") < TOLERANCE
        assert value(state, "leak gap") > 0.05  # the lobes stay open beside the contact
    assert value(states[-1], f"contact length {name}") == pytest.approx(LENGTH, rel=1e-6)
    assert value(states[-1], f"contact pressure {name}") > -states[-1].loads["pressure"].value
    assert model.body.multiplicity == 2 * lobes
    x = (model.body.points + states[-1].displacement)[model.body.surface_nodes("side_high")]
    assert np.abs(x[:, 0] * np.sin(np.pi / lobes) - x[:, 1] * np.cos(np.pi / lobes)).max() < 1e-12


@pytest.mark.reference
def test_force_between_the_walls_of_two_lobes():
    """Half of it is the shear force of the elastica beside the contact point."""
    _, states = collapsing(2)
    name = contact_of(states)
    lobe = ring.pressed_lobe(1.2 * first_contact(2), THICK / 2)
    expected = 2 * lobe.shear * BENDING * LENGTH * 2  # upper and lower wall press on the plane
    assert value(states[-1], f"contact force {name}") == pytest.approx(expected, rel=FORCE)
