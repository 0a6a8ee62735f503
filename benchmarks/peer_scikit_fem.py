# SPDX-License-Identifier: MIT
"""scikit-fem on the tube: python -m benchmarks.peer_scikit_fem MODEL SIZE.

The forms of the mixed potential ½μ(J^(-2/3) tr C - 3) - p(J - 1) are written by hand and combined by ``bmat``
as in the hyperelasticity example of the library. Newton's method uses ``solve(*condense(...))``, whose
default is the SuperLU of SciPy. The forms are written for each displacement component on a scalar basis,
which is many times faster than a vector basis.
"""

import time

_START = time.perf_counter()

import math  # noqa: E402
from functools import cache  # noqa: E402
from itertools import combinations_with_replacement, product  # noqa: E402

import numpy as np  # noqa: E402
import skfem  # noqa: E402
from scipy.sparse import bmat  # noqa: E402
from skfem.helpers import det, inv, mul, transpose  # noqa: E402

from benchmarks.record import Clock, Record, main, peak_memory  # noqa: E402
from benchmarks.tube import (  # noqa: E402
    INNER_RADIUS,
    LENGTH,
    PRESSURE,
    SHEAR_MODULUS,
    STEPS,
    TOLERANCE,
    Size,
    StructuredMesh,
    chord_correction,
    structured_mesh,
)

_START_UP = time.perf_counter() - _START


def slopes(component: int, N, w):
    """Return the nonzero entries of the gradient of N e_component, in the order of ``places``."""
    if len(N.grad) == 3 or component != 0:
        return N.grad
    return np.concatenate([N.grad, (N.value / w.x[0])[None]])


def places(component: int, dim: int) -> tuple:
    """Return the rows and columns of these entries in the 3x3 gradient; axisymmetric: (R, Z, hoop)."""
    rows, columns = [component] * dim, list(range(dim))
    return (rows, columns) if dim == 3 or component != 0 else ([*rows, 2], [*columns, 2])


@cache
def stress_work(i: int):
    """Return the form ∫ P : Grad v e_i with the nominal stress P."""
    return skfem.LinearForm(lambda v, w: np.einsum("k...,k...", w["P"], slopes(i, v, w)))


@cache
def volume_defect():
    """Return the form ∫ q (1 - J); 1 - J is the field ``defect``."""
    return skfem.LinearForm(lambda q, w: w["defect"] * q)


@cache
def stiffness(i: int, j: int):
    """Return the form ∫ Grad v e_i : A : Grad u e_j with A = ∂P/∂F."""

    def form(u, v, w):
        return np.einsum("k...,kl...,l...", slopes(i, v, w), w["A"], slopes(j, u, w))

    return skfem.BilinearForm(form)


@cache
def coupling(i: int):
    """Return the form ∫ p B : Grad v e_i with B = ∂P/∂p."""
    return skfem.BilinearForm(lambda p, v, w: p * np.einsum("k...,k...", w["B"], slopes(i, v, w)))


@cache
def pressure_work(i: int):
    """Return the form ∫ t v on the lumen; t is component i of the traction per reference area."""
    return skfem.LinearForm(lambda v, w: w["t"] * v)


@cache
def pressure_stiffness(i: int, j: int):
    """Return the form ∫ v T : Grad u e_j on the lumen with T = ∂t/∂F of component i."""
    return skfem.BilinearForm(lambda u, v, w: v * np.einsum("l...,l...", w["T"], slopes(j, u, w)))


def mesh_of(tube: StructuredMesh):
    """Return the mesh; the middle nodes of the straight elements are moved onto the cylinder."""
    cell = (skfem.MeshQuad1, skfem.MeshHex1)[tube.dim - 2]
    curved = (skfem.MeshQuad2, skfem.MeshHex2)[tube.dim - 2]
    ring = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], dtype=float)
    corners = ring if tube.dim == 2 else np.array([(*p, z) for z in (0.0, 1.0) for p in ring])
    place = [int(np.argmin(np.linalg.norm(corners - p, axis=1))) for p in cell.elem.refdom.p.T]
    mesh = curved.from_mesh(cell(tube.points[: tube.corners].T, tube.cells[:, place].T))
    if tube.dim == 3:
        x, y, _ = mesh.doflocs
        turn = np.arctan2(y, x) / (math.pi / tube.size.around)
        mesh.doflocs[:2, np.rint(turn).astype(int) % 2 == 1] *= chord_correction(tube.size)
    return mesh


class ScikitFemTube:
    """Bases, unknowns (u by component, p) and their assembly."""

    def __init__(self, size: Size) -> None:
        self.grid = tube = structured_mesh(size)
        mesh = mesh_of(tube)
        quadratic = (skfem.ElementQuad2, skfem.ElementHex2)[tube.dim - 2]()
        linear = (skfem.ElementQuad1, skfem.ElementHex1)[tube.dim - 2]()
        inner = mesh.facets_satisfying(
            lambda x: np.linalg.norm(x[:-1], axis=0) < INNER_RADIUS + 1e-3, boundaries_only=True
        )
        self.basis = skfem.Basis(mesh, quadratic, intorder=5)
        self.pressure = self.basis.with_element(linear)
        self.lumen = skfem.FacetBasis(mesh, quadratic, facets=inner, intorder=5)
        ends = self.basis.get_dofs(lambda x: (x[-1] < 1e-9) | (x[-1] > LENGTH - 1e-9)).flatten()
        self.u, self.p = np.zeros((tube.dim, self.basis.N)), self.pressure.zeros()
        self.fixed = (ends + self.basis.N * np.arange(tube.dim)[:, None]).ravel()

    def _kinematics(self, basis) -> tuple:
        """Return F, J and F⁻¹ (3x3) and the measure at the points of a basis."""
        fields = [basis.interpolate(u) for u in self.u]
        F = np.zeros((3, 3, *fields[0].value.shape)) + np.eye(3)[:, :, None, None]
        R = basis.global_coordinates()[0] if self.grid.dim == 2 else None
        for i, f in enumerate(fields):
            F[i, : self.grid.dim] += f.grad
        if R is not None:
            F[2, 2] += fields[0].value / R
        return F, det(F), inv(F), 1.0 if R is None else 2 * math.pi * R

    def _area_vector(self) -> tuple:
        """Return cof(F) N, cof(F), J and the measure on the lumen."""
        _, J, inverse, weight = self._kinematics(self.lumen)
        normal = np.zeros((3, *J.shape))
        normal[: self.grid.dim] = self.lumen.normals
        cof = J * transpose(inverse)
        return mul(cof, normal), cof, J, weight

    def residual(self, load: float):
        """Return the out-of-balance forces, followed by the volume defects."""
        F, J, inverse, weight = self._kinematics(self.basis)
        p = self.pressure.interpolate(self.p).value
        isochoric = F - np.einsum("ik...,ik...->...", F, F) / 3 * transpose(inverse)
        P = weight * (SHEAR_MODULUS * J ** (-2 / 3) * isochoric - p * J * transpose(inverse))
        area_vector, _, _, on_lumen = self._area_vector()
        t = load * on_lumen * area_vector
        blocks = []
        for i in range(self.grid.dim):
            internal = stress_work(i).assemble(self.basis, P=P[places(i, self.grid.dim)])
            blocks.append(internal + pressure_work(i).assemble(self.lumen, t=t[i]))
        return np.concatenate([*blocks, volume_defect().assemble(self.pressure, defect=weight * (1 - J))])

    def tangent(self, load: float):
        """Return the matrix of the blocks (u by component, p)."""
        F, J, G, weight = self._kinematics(self.basis)
        p = self.pressure.interpolate(self.p).value
        Gt, I1 = transpose(G), np.einsum("ik...,ik...->...", F, F)
        pair = np.einsum("ik...,jl...->ikjl...", Gt, Gt)
        crossed = np.einsum("kj...,li...->ikjl...", G, G)
        mixed = np.einsum("ik...,jl...->ikjl...", F, Gt)
        one = np.einsum("ij,kl->ikjl", np.eye(3), np.eye(3))[..., None, None]
        isochoric = (
            one - 2 / 3 * (mixed + mixed.transpose(2, 3, 0, 1, 4, 5)) + I1 * (2 / 9 * pair + crossed / 3)
        )
        A = weight * (SHEAR_MODULUS * J ** (-2 / 3) * isochoric - p * J * (pair - crossed))
        B = -weight * J * transpose(G)
        area_vector, cof, J_lumen, on_lumen = self._area_vector()
        T = np.einsum("i...,jl...->ijl...", area_vector, cof)
        T -= np.einsum("il...,j...->ijl...", cof, area_vector)
        T *= load * on_lumen / J_lumen
        dim = self.grid.dim
        K = [[None] * (dim + 1) for _ in range(dim + 1)]
        for i, j in combinations_with_replacement(range(dim), 2):
            (rows, columns), (to_rows, to_columns) = places(i, dim), places(j, dim)
            part = A[np.array(rows)[:, None], np.array(columns)[:, None], to_rows, to_columns]
            K[i][j] = stiffness(i, j).assemble(self.basis, A=part)
            K[j][i] = K[i][j].T
        for i, j in product(range(dim), repeat=2):
            K[i][j] = K[i][j] + pressure_stiffness(i, j).assemble(self.lumen, T=T[i][places(j, dim)])
        for i in range(dim):
            K[i][-1] = coupling(i).assemble(self.pressure, self.basis, B=B[places(i, dim)])
            K[-1][i] = K[i][-1].T
        return bmat(K, format="csr")

    def error(self, r) -> float:
        """Return the larger ratio of out-of-balance force and volume defect to their tolerances."""
        free = r.copy()
        free[self.fixed] = 0.0
        forces = free[: self.u.size]
        reaction = np.linalg.norm(r[self.fixed])
        return max(
            np.linalg.norm(forces) / (TOLERANCE * reaction + 1e-300), np.linalg.norm(r[self.u.size :]) / 1e-6
        )

    def volume_change(self) -> float:
        """Return the relative change of the lumen volume, from the nodes of the mesh."""
        own = np.lexsort(np.round(self.basis.doflocs, 6))
        theirs = np.lexsort(np.round(self.grid.points, 6).T)
        u = np.empty_like(self.grid.points)
        u[theirs] = self.u.T[own]
        return self.grid.lumen_volume(u) / self.grid.lumen_volume() - 1


def run(size: Size, record: Record) -> Record:
    """Follow the load steps by Newton's method without lagging."""
    start = time.perf_counter()
    tube = ScikitFemTube(size)
    record.set_up = time.perf_counter() - start
    clock = Clock()
    start = time.perf_counter()
    for step in range(1, STEPS + 1):
        load = PRESSURE * step / STEPS
        for _ in range(20):
            with clock("residual"):
                r = tube.residual(load)
            if tube.error(r) <= 1:
                break
            with clock("tangent"):
                K = tube.tangent(load)
            with clock("solve"):
                dx = skfem.solve(*skfem.condense(K, -r, D=tube.fixed))
            tube.u += dx[: tube.u.size].reshape(tube.u.shape)
            tube.p += dx[tube.u.size :]
        else:
            raise RuntimeError(f"no convergence in step {step}")
    record.path = time.perf_counter() - start
    record.unknowns = tube.u.size + tube.p.size
    record.iterations = record.factorisations = clock.calls["solve"]
    record.assembly = clock.mean("tangent", "residual")
    record.factorisation = clock.mean("solve")
    record.memory = peak_memory()
    record.volume_change = tube.volume_change()
    record.remark = "SuperLU, full Newton; incompressible; continuous linear pressure"
    return record


if __name__ == "__main__":
    main("scikit-fem", run, _START_UP)
