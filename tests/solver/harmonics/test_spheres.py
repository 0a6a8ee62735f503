# SPDX-License-Identifier: MIT
"""Spheres under suction and inflated: modes Pₙ turn at one load for all m up to n.

Incremental analysis; the setting is that of Wang and Ertepinar, Int. J. Non-Linear Mech. 7, 539 (1972), and
Haughton and Ogden, J. Mech. Phys. Solids 26, 111 (1978), both from memory.
"""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
import pytest
from counting import BRACKET, Judged
from models import FOLLOW, neo_hookean

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer
from annelid.solver.continuation.path import Path
from annelid.solver.harmonics.stability import HarmonicStability
from annelid.solver.model.boundary import Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

# Material, then P/μ of n = 2 and n = 3 at B/A = 1.5.
CRITICAL = [
    (neo_hookean(), 0.869343, 0.979237),
    (Material("gent", "gent", {"shear_modulus": 1.0, "stretch_limit": 30.0}), 0.876147, 0.989284),
]


@pytest.mark.exact
@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize(("material", "second", "third"), CRITICAL, ids=["neo-Hookean", "Gent"])
def test_a_sphere_turns_for_all_harmonics_at_once(material, second, third, half):
    """A half sphere on its plane of symmetry has the modes that mirror and those that do not.

    The whole one is free to move as a rigid body, which is not counted.
    """
    body = build(Balloon(sphere(1.0, half=half), (Layer("wall", 0.5),)), MeshSize(along=0.125, through=4))
    support = Support("end_low", "symmetric") if half else Support("outer", "rigid motion")
    judged = Judged(Model(body, (Part("wall", material),), (support,)))
    harmonics = range(5)
    assert [judged.count(m) for m in harmonics] == [0, 0, 0, 0, 0]
    for pressure, counts in (
        (second * (1 - BRACKET), [0, 0, 0, 0, 0]),
        (second * (1 + BRACKET), [1, 1, 1, 0, 0]),
        (third * (1 - BRACKET), [1, 1, 1, 0, 0]),
        (third * (1 + BRACKET), [2, 2, 2, 1, 0]),
    ):
        judged.at(pressure=-pressure, steps=4)
        assert [judged.count(m) for m in harmonics] == counts
    stiffness = [judged.harmonics.mode(m).stiffness for m in range(3)]
    assert stiffness == pytest.approx([stiffness[0]] * 3, rel=1e-3)


# B/A, element size along, elements through, then n and P/μ of the first modes, n = 5 of 1.1 left out.
THIN = {
    (1.2, 0.15, 2): [(4, 0.16752), (3, 0.169049)],
    (1.1, 0.08, 2): [(6, 0.0431644), (4, 0.04516)],
    (1.05, 0.08, 1): [(7, 0.0101817), (8, 0.0103034)],
    (1.02, 0.05, 1): [(12, 0.00161176), (11, 0.00162545), (13, 0.00164026)],
}


@pytest.mark.exact
@pytest.mark.parametrize("case", THIN, ids=str)
def test_thin_spheres_under_suction(case):
    """Neighbouring modes are about 1 % apart; a thin shell has 4 μ (t/R)² (Zoelly, 1915, from memory)."""
    ratio, along, through = case
    shape = Balloon(sphere(1.0), (Layer("wall", ratio - 1),))
    body = build(shape, MeshSize(along=along, through=through))
    judged = Judged(Model(body, (Part("wall", neo_hookean()),), (Support("outer", "rigid motion"),)))
    turned = [5] if ratio == 1.1 else []
    judged.at(pressure=-THIN[case][0][1] * (1 - BRACKET), steps=4)
    for n, pressure in [(-1, 0.0), *THIN[case]]:
        if pressure:
            turned.append(n)
            judged.at(pressure=-pressure * (1 + BRACKET))
        assert [judged.count(m) for m in range(15)] == [sum(m <= n for n in turned) for m in range(15)]


@pytest.mark.long
@pytest.mark.exact
def test_an_inflated_sphere_becomes_a_pear():
    """B/A = 1.1: past the pressure maximum at a/A = 1.416, P₁ turns for m = 0 and 1 at a/A = 1.8478."""
    law = {"moduli": (6.3, 0.012, -0.1), "exponents": (1.3, 5.0, -2.0)}
    scale = sum(m * e for m, e in zip(*law.values(), strict=True)) / 2
    rubber = Material("rubber", "ogden", law | {"moduli": tuple(m / scale for m in law["moduli"])})
    body = build(Balloon(sphere(1.0), (Layer("wall", 0.1),)), MeshSize(along=0.15, through=1))
    model = Model(body, (Part("wall", rubber),), (Support("outer", "rigid motion"),))
    counts = []
    for inner in (1.8478 * (1 - BRACKET), 1.8478 * (1 + BRACKET)):
        blow = Stage("blow", volume=4 / 3 * np.pi * inner**3, control="volume", steps=10)
        path = Path(model, [blow], stepping=FOLLOW)
        assert path.follow().kind == "reached"
        harmonics = HarmonicStability(path.system)
        counts.append([harmonics.count(m) for m in range(4)])
    assert counts == [[1, 0, 0, 0], [2, 1, 0, 0]]
