# SPDX-License-Identifier: MIT
"""The clamped tube solved a second time with scikit-fem, a general-purpose library, from its own forms.

Axisymmetric, biquadratic displacement and bilinear continuous pressure (Taylor, Hood), neo-Hookean without
the isochoric split, with variations written by hand. Only the numbers are shared with the solver.
"""

import numpy as np
import pytest
import skfem
from models import CLAMPED, neo_hookean, reached, tube_body, tube_model, value
from skfem.helpers import ddot, grad

from annelid.solver.model.stages import Stage

A, B, L = 1.0, 1.2, 2.0  # mm; clamped ends
MU, P = 0.7, 0.09  # MPa
CELLS = (3, 32)  # through the wall, along
SAME = 2e-4  # relative; the two discretisations differ where the clamps meet the surfaces
FORCES = 7e-3  # relative, of the forces at the clamps


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


# Volume ∫ π r² dz of the deformed lumen, its first and second variation (r = A + u_r, z' = 1 + u_z,Z).
@skfem.LinearForm
def volume_slope(v, q, w):
    r, dz = A + w["u"][0], 1 + grad(w["u"])[1, 1]
    return 2 * np.pi * r * v[0] * dz + np.pi * r**2 * grad(v)[1, 1]


@skfem.BilinearForm
def volume_curvature(du, dp, v, q, w):
    r, dz = A + w["u"][0], 1 + grad(w["u"])[1, 1]
    return 2 * np.pi * (v[0] * du[0] * dz + r * (v[0] * grad(du)[1, 1] + du[0] * grad(v)[1, 1]))


@skfem.Functional
def volume(w):
    return np.pi * (A + w["u"][0]) ** 2 * (1 + grad(w["u"])[1, 1])


def solve_with_scikit_fem():
    """Newton in four pressure steps: motion half-way up, lumen volume, forces on the high end."""
    mesh = skfem.MeshQuad.init_tensor(np.linspace(A, B, CELLS[0] + 1), np.linspace(0, L, CELLS[1] + 1))
    element = skfem.ElementVector(skfem.ElementQuad2()) * skfem.ElementQuad1()
    inside = skfem.Basis(mesh, element, intorder=6)
    lumen = skfem.FacetBasis(mesh, element, facets=mesh.facets_satisfying(lambda x: x[0] == A), intorder=6)
    ends = inside.get_dofs(lambda x: (x[1] == 0) | (x[1] == L)).all(["u^1^1", "u^2^1"])
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
    [middle] = mesh.nodes_satisfying(lambda x: (x[0] == A) & (x[1] == L / 2))
    high = inside.get_dofs(lambda x: x[1] == L)
    forces = [r[high.all([name])].sum() for name in ("u^2^1", "u^1^1")]
    return float(x[inside.nodal_dofs[0, middle]]), float(volume.assemble(lumen, **wet)), *map(float, forces)


@pytest.mark.reference
def test_clamped_tube_by_scikit_fem():
    radial, enclosed, axial_force, radial_force = solve_with_scikit_fem()
    model = tube_model(tube_body(B / A, L, along=L / CELLS[1]), neo_hookean(MU), CLAMPED)
    state = reached(model, [Stage("inflate", pressure=P, steps=4)])[-1]
    assert radial > 0.15  # a large deformation
    assert value(state, "radial expansion mid") == pytest.approx(radial / A, rel=SAME)
    assert value(state, "lumen volume") == pytest.approx(enclosed, rel=SAME)
    assert value(state, "volume change") == pytest.approx(enclosed - np.pi * L, rel=4 * SAME)
    # The second solution varies the whole volume, so the thrust on closed ends is in its force.
    wall_force = axial_force + P * np.pi * A**2
    assert value(state, "axial reaction end_high") == pytest.approx(wall_force, rel=FORCES)
    assert value(state, "radial reaction end_high") == pytest.approx(radial_force, rel=FORCES)
