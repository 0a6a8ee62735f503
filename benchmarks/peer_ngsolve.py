# SPDX-License-Identifier: MIT
"""NGSolve on the tube: python -m benchmarks.peer_ngsolve MODEL SIZE.

The mixed potential ½μ(J^(-2/3) tr C - 3) - p(J - 1) as a ``Variation``, the follower pressure as a weak
form on the lumen, full Newton with the library's default direct solver, one thread.
"""

import time

_START = time.perf_counter()

import math  # noqa: E402

import numpy as np  # noqa: E402
from netgen import meshing  # noqa: E402
from ngsolve import (  # noqa: E402
    H1,
    BilinearForm,
    CoefficientFunction,
    Cof,
    Det,
    Grad,
    GridFunction,
    Id,
    InnerProduct,
    Integrate,
    Mesh,
    Parameter,
    SetNumThreads,
    Variation,
    VectorH1,
    ds,
    dx,
    specialcf,
    x,
    y,
)

from benchmarks.record import Clock, Record, main, peak_memory  # noqa: E402
from benchmarks.tube import (  # noqa: E402
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


def mesh_of(tube: StructuredMesh) -> Mesh:
    """Return the mesh; a quadratic deformation moves the edges around the tube onto the cylinder."""
    built = meshing.Mesh(dim=tube.dim)
    places = tube.points[: tube.corners]
    padded = np.column_stack([places, np.zeros((len(places), 3 - tube.dim))])
    ids = [built.Add(meshing.MeshPoint(meshing.Pnt(*p))) for p in padded]
    inside = built.AddRegion("wall", dim=tube.dim)
    element, face = (
        (meshing.Element2D, meshing.Element1D) if tube.dim == 2 else (meshing.Element3D, meshing.Element2D)
    )
    for cell in tube.cells[:, : 2**tube.dim]:
        built.Add(element(index=inside, vertices=[ids[n] for n in cell]))
    surfaces = {"lumen": tube.lumen, "outer": tube.outer, "end_low": tube.ends[0], "end_high": tube.ends[1]}
    for name, facets in surfaces.items():
        region = built.AddRegion(name, dim=tube.dim - 1)
        for facet in facets[:, : 2 ** (tube.dim - 1)]:
            built.Add(face(index=region, vertices=[ids[n] for n in facet]))
    mesh = Mesh(built)
    if tube.dim == 3:
        mesh.SetDeformation(_bent_edges(mesh, tube))
    return mesh


def _bent_edges(mesh: Mesh, tube: StructuredMesh) -> GridFunction:
    """Return the deformation that moves the midpoints of chords onto the circle."""
    space = VectorH1(mesh, order=2)
    bend = GridFunction(space)
    first = space.components[0]
    vertices = np.array([[v.nr for v in edge.vertices] for edge in mesh.edges])
    dofs = np.array([first.GetDofNrs(edge)[0] for edge in mesh.edges])
    ends = tube.points[vertices]
    middle = ends.mean(axis=1)
    middle[:, 2] = 0.0
    around = np.abs(ends[:, 0, :2] - ends[:, 1, :2]).sum(axis=1) > 1e-9
    radii = np.linalg.norm(ends[..., :2], axis=2)
    around &= np.abs(radii[:, 0] - radii[:, 1]) < 1e-9
    lift = middle[around] * (chord_correction(tube.size) - 1)
    values = bend.vec.FV().NumPy().reshape(3, -1)
    bubble = _bubble_at_middle(mesh, first, int(np.flatnonzero(around)[0]), vertices, tube)
    for i in range(3):
        values[i, dofs[around]] = lift[:, i] / bubble
    return bend


def _bubble_at_middle(mesh: Mesh, space: H1, edge: int, vertices, tube: StructuredMesh) -> float:
    """Return the value of the quadratic edge function at the middle of its edge."""
    probe = GridFunction(H1(mesh, order=2))
    probe.vec[probe.space.GetDofNrs(list(mesh.edges)[edge])[0]] = 1.0
    middle = tube.points[vertices[edge]].mean(axis=0)
    return float(probe(mesh(*middle)))


class NgsolveTube:
    """Space, form and unknowns.

    Attributes:
        form: Residual and tangent, also of the follower pressure.
        state: Unknowns (u, p).
        pressure: Load, MPa.
    """

    def __init__(self, size: Size, *, compiled: dict[str, bool] | None = None, **flags: bool) -> None:
        self.grid = structured_mesh(size)
        self.mesh = mesh_of(self.grid)
        displacement = VectorH1(self.mesh, order=2, dirichlet="end_low|end_high")
        self.space = displacement * H1(self.mesh, order=1)
        self.split = displacement.ndof
        self.state = GridFunction(self.space)
        self.pressure = Parameter(0.0)
        (u, p), (v, _) = self.space.TnT()
        F, weight = self._gradient(Grad(u), u)
        J = Det(F)
        energy = SHEAR_MODULUS / 2 * (J ** (-2 / 3) * InnerProduct(F, F) - 3) - p * (J - 1)
        self.form = BilinearForm(self.space, **flags)
        density = weight * energy
        load = self.pressure * weight * InnerProduct(self._area_vector(u), self._padded(v))
        if compiled is not None:
            density, load = density.Compile(**compiled), load.Compile(**compiled)
        self.form += Variation(density * dx)
        self.form += load * ds("lumen")
        self.fixed = np.array([not free for free in self.space.FreeDofs()])

    def _gradient(self, g: CoefficientFunction, u: CoefficientFunction) -> tuple:
        """Return the deformation gradient, 3x3, and the measure; the axisymmetric axes are (R, Z, hoop)."""
        if self.grid.dim == 3:
            return g + Id(3), 1.0
        F = CoefficientFunction(
            (1 + g[0, 0], g[0, 1], 0, g[1, 0], 1 + g[1, 1], 0, 0, 0, 1 + u[0] / x), dims=(3, 3)
        )
        return F, 2 * math.pi * x

    def _padded(self, v: CoefficientFunction) -> CoefficientFunction:
        return v if self.grid.dim == 3 else CoefficientFunction((v[0], v[1], 0))

    def _area_vector(self, u: CoefficientFunction) -> CoefficientFunction:
        """Return cof(F) N on the lumen, which follows from the surface gradient."""
        F, _ = self._gradient(Grad(u).Trace(), u.Trace())
        return Cof(F) * self._outward()

    def _outward(self) -> CoefficientFunction:
        """Return the normal of the lumen out of the wall; surface elements may have either orientation."""
        normal = self._padded(specialcf.normal(self.grid.dim))
        to_outside = CoefficientFunction((x, 0, 0)) if self.grid.dim == 2 else CoefficientFunction((x, y, 0))
        lumen = self.mesh.Boundaries("lumen")
        flux = Integrate(InnerProduct(normal, to_outside), self.mesh, definedon=lumen)
        return -math.copysign(1.0, flux) * normal

    def residual(self, out) -> float:
        """Assemble the residual; return its largest ratio to the tolerance."""
        self.form.Apply(self.state.vec, out)
        r = out.FV().NumPy()
        reaction = np.linalg.norm(r[self.fixed])
        free = np.where(self.fixed, 0.0, r)
        force, defect = np.linalg.norm(free[: self.split]), np.linalg.norm(free[self.split :])
        return max(force / (TOLERANCE * reaction + 1e-300), defect / 1e-6)

    def volume_change(self) -> float:
        """Return the relative change of the lumen volume, from a surface integral."""
        u = self.state.components[0]
        weight = 1.0 if self.grid.dim == 3 else 2 * math.pi * x
        if self.grid.dim == 3:
            current, drawn = CoefficientFunction((x + u[0], y + u[1], 0)), CoefficientFunction((x, y, 0))
        else:
            current, drawn = CoefficientFunction((x + u[0], 0, 0)), CoefficientFunction((x, 0, 0))
        n = self._outward()
        F, _ = self._gradient(Grad(u), u)
        lumen = self.mesh.Boundaries("lumen")
        volume = Integrate(weight * InnerProduct(current, Cof(F) * n), self.mesh, definedon=lumen, order=6)
        return volume / Integrate(weight * InnerProduct(drawn, n), self.mesh, definedon=lumen, order=6) - 1


def run(size: Size, record: Record) -> Record:
    """Follow the load steps by Newton's method without lagging."""
    SetNumThreads(1)
    start = time.perf_counter()
    tube = NgsolveTube(size)
    record.set_up = time.perf_counter() - start
    clock = Clock()
    r, w = tube.state.vec.CreateVector(), tube.state.vec.CreateVector()
    start = time.perf_counter()
    for step in range(1, STEPS + 1):
        tube.pressure.Set(PRESSURE * step / STEPS)
        for _ in range(20):
            with clock("residual"):
                error = tube.residual(r)
            if error <= 1:
                break
            with clock("tangent"):
                tube.form.AssembleLinearization(tube.state.vec)
            with clock("factorise"):
                inverse = tube.form.mat.Inverse(tube.space.FreeDofs())
            with clock("solve"):
                w.data = inverse * r
            tube.state.vec.data -= w
        else:
            raise RuntimeError(f"no convergence in step {step}")
    record.path = time.perf_counter() - start
    record.remark = "default solver (UMFPACK), full Newton; incompressible; continuous linear pressure"
    return fill_record(record, tube, clock)


def fill_record(record: Record, tube: NgsolveTube, clock: Clock) -> Record:
    """Fill in the times of the clock and the numbers of the tube."""
    record.unknowns = tube.space.ndof
    record.iterations = clock.calls["solve"]
    record.factorisations = clock.calls["factorise"]
    record.assembly = clock.mean("tangent", "residual")
    record.factorisation, record.solve = clock.mean("factorise"), clock.mean("solve")
    record.memory = peak_memory()
    record.volume_change = tube.volume_change()
    return record


if __name__ == "__main__":
    main("NGSolve", run, _START_UP)
