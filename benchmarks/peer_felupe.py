# SPDX-License-Identifier: MIT
"""FElupe on the tube: python -m benchmarks.peer_felupe MODEL SIZE.

Its mixed fields (displacement, pressure, volume ratio) with ``NearlyIncompressible``, its axisymmetric field,
its follower pressure and its ``newtonraphson`` with the default linear solver (SciPy's SuperLU). It has no
exactly incompressible form, so the bulk modulus is that of its own example, 5000 μ.
"""

import time

_START = time.perf_counter()

import felupe as fem  # noqa: E402
import numpy as np  # noqa: E402
from scipy.sparse.linalg import spsolve  # noqa: E402

from benchmarks.record import Clock, Record, main, peak_memory  # noqa: E402
from benchmarks.tube import (  # noqa: E402
    BULK_MODULUS,
    INNER_RADIUS,
    PRESSURE,
    SHEAR_MODULUS,
    STEPS,
    TOLERANCE,
    Size,
    structured_mesh,
)

_START_UP = time.perf_counter() - _START


class FelupeTube:
    """Fields, bodies and boundary conditions."""

    def __init__(self, size: Size) -> None:
        self.grid = tube = structured_mesh(size)
        flat = tube.dim == 2
        points, cells = tube.points, tube.cells
        if flat:  # the first coordinate of the library is the axis; swapping both inverts the cells
            points, cells = points[:, ::-1], cells[:, [0, 3, 2, 1, 7, 6, 5, 4, 8]]
        mesh = fem.Mesh(np.ascontiguousarray(points), cells, "quad9" if flat else "hexahedron27")
        inner = (mesh.y if flat else np.hypot(mesh.x, mesh.y)) < INNER_RADIUS + 1e-6
        if flat:
            region = fem.RegionBiQuadraticQuad(mesh)
            lumen = fem.RegionBiQuadraticQuadBoundary(mesh, mask=inner, ensure_3d=True)
            displacement = fem.FieldAxisymmetric(region, dim=2)
            on_lumen = fem.FieldAxisymmetric(lumen, dim=2)
        else:
            region = fem.RegionTriQuadraticHexahedron(mesh)
            lumen = fem.RegionTriQuadraticHexahedronBoundary(mesh, mask=inner)
            displacement = fem.Field(region, dim=3)
            on_lumen = fem.Field(lumen, dim=3)
        pressure = fem.FieldDual(region, disconnect=False)
        ratio = fem.FieldDual(region, disconnect=False, values=1.0)
        self.field = fem.FieldContainer([displacement, pressure, ratio])
        material = fem.NearlyIncompressible(fem.NeoHooke(mu=SHEAR_MODULUS), bulk=BULK_MODULUS)
        self.solid = fem.SolidBody(material, self.field)
        self.load = fem.SolidBodyPressure(fem.FieldContainer([on_lumen]))
        ends = np.zeros(len(points), dtype=bool)
        ends[tube.clamped] = True
        self.boundaries = {"ends": fem.Boundary(displacement, mask=ends)}

    def nodal(self):
        """Return the displacement of the nodes of the mesh."""
        u = self.field[0].values
        return u[:, ::-1] if self.grid.dim == 2 else u


def run(size: Size, record: Record) -> Record:
    """Follow the load steps by Newton's method without lagging."""
    start = time.perf_counter()
    tube = FelupeTube(size)
    dof0, dof1 = fem.dof.partition(tube.field, tube.boundaries)
    ext0 = fem.dof.apply(tube.field, tube.boundaries, dof0)
    record.set_up = time.perf_counter() - start
    clock = Clock()

    def solver(A, b):
        with clock("solve"):
            return spsolve(A, b)

    start = time.perf_counter()
    for step in range(1, STEPS + 1):
        tube.load.update(PRESSURE * step / STEPS)
        result = fem.newtonraphson(
            x0=tube.field,
            items=[tube.solid, tube.load],
            dof0=dof0,
            dof1=dof1,
            ext0=ext0,
            solver=solver,
            tol=TOLERANCE,
            verbose=0,
        )
        tube.field = result.x
    record.path = time.perf_counter() - start
    record.unknowns = sum(f.values.size for f in tube.field.fields)
    record.iterations = record.factorisations = clock.calls["solve"]
    record.assembly = (record.path - clock.seconds["solve"]) / record.iterations
    record.factorisation = clock.mean("solve")
    record.memory = peak_memory()
    record.volume_change = tube.grid.lumen_volume(tube.nodal()) / tube.grid.lumen_volume() - 1
    record.remark = (
        f"SuperLU, full Newton; bulk modulus {BULK_MODULUS:g} μ; continuous linear pressure and volume ratio"
    )
    return record


if __name__ == "__main__":
    main("FElupe", run, _START_UP)
