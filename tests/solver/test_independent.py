# SPDX-License-Identifier: MIT
"""A conical tube solved a second time with scikit-fem, a general-purpose library, from its own forms.

Axisymmetric, biquadratic displacement and bilinear continuous pressure (Taylor, Hood), neo-Hookean without
the isochoric split, with hand-written variations; it shares nothing with the solver but the numbers. The
ends slide in their planes: where ends are clamped, the continuous pressure does not converge at the singular
corners (measured: the volume rises by 6e-4 from 3 to 6 elements through the wall).
"""

import numpy as np
import pytest
import skfem
from models import neo_hookean, reached, value
from skfem.helpers import ddot, grad

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tapered_tube import TaperedTube
from annelid.solver.model.boundary import Section, Support
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage

LOW, HIGH, WALL, L = 1.0, 1.3, 0.2, 2.0  # mm: radii of the lumen, thickness across the axis, length
MU, P = 0.7, 0.06  # MPa
CELLS = (3, 32)  # through the wall, along
SAME, FORCES = 1e-5, 1e-4  # relative


def tensor(H, ur, R):
    """Displacement gradient in (R, hoop, Z) from that in the meridian plane."""
    zero = 0 * ur
    return np.array([[H[0, 0], zero, H[0, 1]], [zero, ur / R, zero], [H[1, 0], zero, H[1, 1]]])


def cofactor(F, G):
    """The bilinear map whose value at (F, F) is 2 cof F, so that cofactor(F, G) is the derivative along G."""
    return np.array(
        [
            [
                F[(i + 1) % 3, (j + 1) % 3] * G[(i + 2) % 3, (j + 2) % 3]
                - F[(i + 1) % 3, (j + 2) % 3] * G[(i + 2) % 3, (j + 1) % 3]
                + G[(i + 1) % 3, (j + 1) % 3] * F[(i + 2) % 3, (j + 2) % 3]
                - G[(i + 1) % 3, (j + 2) % 3] * F[(i + 2) % 3, (j + 1) % 3]
                for j in range(3)
            ]
            for i in range(3)
        ]
    )


def state(w):
    u, p = w["u"], w["p"]
    F = np.eye(3)[:, :, None, None] + tensor(grad(u), u[0], w.x[0])
    return F, p


@skfem.BilinearForm
def tangent(du, dp, v, q, w):
    R = w.x[0]
    F, p = state(w)
    G, V = tensor(grad(du), du[0], R), tensor(grad(v), v[0], R)
    dS = MU * G - dp * cofactor(F, F) / 2 - p * cofactor(F, G)
    return 2 * np.pi * R * (ddot(dS, V) - q * ddot(cofactor(F, F) / 2, G))


@skfem.LinearForm
def residual(v, q, w):
    R = w.x[0]
    F, p = state(w)
    cof = cofactor(F, F) / 2
    J = ddot(cof, F) / 3
    V = tensor(grad(v), v[0], R)
    return 2 * np.pi * R * (ddot(MU * F - p * cof, V) - q * (J - 1))


def along(w, gradient):
    """Derivative along the lumen of a function with this gradient; the tangent leads to larger Z."""
    return gradient[0] * w.n[1] - gradient[1] * w.n[0]


# Volume ∫ π r² dz of the deformed lumen, its first and second variation (r = R + u_r).
@skfem.LinearForm
def volume_slope(v, q, w):
    r, dz = w.x[0] + w["u"][0], along(w, grad(w["u"])[1]) - w.n[0]
    return 2 * np.pi * r * v[0] * dz + np.pi * r**2 * along(w, grad(v)[1])


@skfem.BilinearForm
def volume_curvature(du, dp, v, q, w):
    r, dz = w.x[0] + w["u"][0], along(w, grad(w["u"])[1]) - w.n[0]
    return 2 * np.pi * (v[0] * du[0] * dz + r * (v[0] * along(w, grad(du)[1]) + du[0] * along(w, grad(v)[1])))


@skfem.Functional
def volume(w):
    return np.pi * (w.x[0] + w["u"][0]) ** 2 * (along(w, grad(w["u"])[1]) - w.n[0])


def cone(points):
    """The wall of a cylinder of radius 0 moved outwards to the cone."""
    return np.array([points[0] + LOW + (HIGH - LOW) * points[1] / L, points[1]])


def solve_with_scikit_fem():
    """Newton in four pressure steps: motion half-way up, lumen volume, axial force on the high end."""
    flat = skfem.MeshQuad.init_tensor(np.linspace(0, WALL, CELLS[0] + 1), np.linspace(0, L, CELLS[1] + 1))
    inner = flat.facets_satisfying(lambda x: x[0] == 0)
    mesh = skfem.MeshQuad(cone(flat.p), flat.t)
    element = skfem.ElementVector(skfem.ElementQuad2()) * skfem.ElementQuad1()
    inside = skfem.Basis(mesh, element, intorder=6)
    lumen = skfem.FacetBasis(mesh, element, facets=inner, intorder=6)
    ends = inside.get_dofs(lambda x: (x[1] == 0) | (x[1] == L)).all(["u^2^1"])
    x = inside.zeros()
    free = np.setdiff1d(np.arange(inside.N), ends)
    for pressure in P * np.array([0.25, 0.5, 0.75, 1.0]):
        for _ in range(12):
            fields = dict(zip("up", inside.interpolate(x), strict=True))
            wet = dict(zip("up", lumen.interpolate(x), strict=True))
            r = residual.assemble(inside, **fields) - pressure * volume_slope.assemble(lumen, **wet)
            K = tangent.assemble(inside, **fields) - pressure * volume_curvature.assemble(lumen, **wet)
            if np.linalg.norm(r[free]) < 1e-11:
                break
            x[free] -= skfem.solve(K[free][:, free], r[free])
        assert np.linalg.norm(r[free]) < 1e-11
    middle, end = (
        x[inside.nodal_dofs[0, np.flatnonzero((flat.p[0] == 0) & (flat.p[1] == z))[0]]] for z in (L / 2, L)
    )
    force = r[inside.get_dofs(lambda x: x[1] == L).all(["u^2^1"])].sum()
    # The volume was varied as a whole, so the thrust on the end of the lumen is in the force.
    thrust = P * np.pi * (HIGH + end) ** 2
    return float(middle), float(volume.assemble(lumen, **wet)), float(force + thrust)


@pytest.mark.reference
def test_conical_tube_by_scikit_fem():
    radial, enclosed, axial_force = solve_with_scikit_fem()
    normal = WALL * L / np.hypot(L, HIGH - LOW)  # the thickness of a layer is that along its normal
    shape = TaperedTube(LOW, HIGH, L, (Layer("wall", normal),))
    body = build(shape, MeshSize(along=L / CELLS[1], through=CELLS[0]))
    sliding = Support("end_low", "axial"), Support("end_high", "axial")
    model = Model(body, (Part("wall", neo_hookean(MU)),), sliding, sections=(Section("mid", L / 2),))
    state = reached(model, [Stage("inflate", pressure=P, steps=4)])[-1]
    drawn = np.pi * L * (LOW**2 + LOW * HIGH + HIGH**2) / 3
    assert radial > 0.15  # a large deformation
    assert value(state, "radial expansion mid") == pytest.approx(2 * radial / (LOW + HIGH), rel=SAME)
    assert value(state, "lumen volume") == pytest.approx(enclosed, rel=SAME)
    assert value(state, "volume change") == pytest.approx(enclosed - drawn, rel=4 * SAME)
    assert value(state, "axial reaction end_high") == pytest.approx(axial_force, rel=FORCES)
