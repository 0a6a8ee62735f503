# SPDX-License-Identifier: MIT
"""The solver of this project on the tube, called through ``Path``: python -m benchmarks.ours MODEL SIZE."""

import time

_START = time.perf_counter()

import dolfinx_solver  # noqa: E402, F401  (orders MPI ahead of the bindings)

import numpy as np  # noqa: E402
from mpi4py import MPI  # noqa: E402

from annelid.geometry.body import Body  # noqa: E402
from annelid.solver.continuation.path import Path  # noqa: E402
from annelid.solver.model.boundary import Support  # noqa: E402
from annelid.solver.model.material import Material  # noqa: E402
from annelid.solver.model.model import Model  # noqa: E402
from annelid.solver.model.parts import Part  # noqa: E402
from annelid.solver.model.stages import Stage  # noqa: E402
from annelid.solver.records import Equilibrium  # noqa: E402
from benchmarks.record import Clock, Record, main, peak_memory  # noqa: E402
from benchmarks.tube import PRESSURE, SHEAR_MODULUS, STEPS, Size, StructuredMesh, structured_mesh  # noqa: E402

_START_UP = time.perf_counter() - _START


def body_of(mesh: StructuredMesh) -> Body:
    """Convert the mesh into a body with named surfaces."""
    facets = {"lumen": mesh.lumen, "outer": mesh.outer, "end_low": mesh.ends[0], "end_high": mesh.ends[1]}
    edges = np.cumsum([0, *(len(f) for f in facets.values())])
    radial = mesh.points.copy()
    radial[:, -1] = 0.0
    radial /= np.linalg.norm(radial, axis=1)[:, None]
    hoop = None if mesh.dim == 2 else np.stack([-radial[:, 1], radial[:, 0], 0 * radial[:, 0]], axis=1)
    return Body(
        model=mesh.size.model,
        points=mesh.points,
        cell_type="quad9" if mesh.dim == 2 else "hexahedron27",
        cells=mesh.cells,
        regions={"wall": np.arange(len(mesh.cells))},
        bands={},
        facets=np.concatenate(list(facets.values())),
        surfaces={name: np.arange(a, b) for name, a, b in zip(facets, edges[:-1], edges[1:], strict=True)},
        normal=radial,
        hoop=hoop,
    )


def path_of(size: Size, steps: int = STEPS) -> Path:
    """Return the path of the tube."""
    material = Material("rubber", "neo-hookean", {"shear_modulus": SHEAR_MODULUS})
    model = Model(
        body_of(structured_mesh(size)),
        (Part("wall", material),),
        (Support("end_low", "all"), Support("end_high", "all")),
    )
    return Path(model, [Stage("inflate", pressure=PRESSURE, steps=steps)])


def timed(path: Path) -> Clock:
    """Measure the time of the expensive calls of a path."""
    clock = Clock()

    def wrap(owner: object, method: str, name: str) -> None:
        call = getattr(owner, method)

        def timed_call(*args: object, **keywords: object) -> object:
            with clock(name):
                return call(*args, **keywords)

        setattr(owner, method, timed_call)

    wrap(path.system.tangent.factor, "factorise", "factorise")
    wrap(path.system.tangent.factor, "solve", "solve")
    wrap(path.system, "factorise", "tangent and factorise")
    wrap(path.system, "assemble_residual", "residual")
    wrap(path.evaluation, "read_fields", "reading")
    wrap(path.evaluation, "equilibrium", "reading")
    return clock


def run(size: Size, record: Record) -> Record | None:
    """Follow the path and measure its times."""
    start = time.perf_counter()
    path = path_of(size)
    record.set_up = time.perf_counter() - start
    clock = timed(path)
    volumes: list[float] = []
    iterations: list[int] = []

    def observe(state: Equilibrium) -> None:
        volumes.append(state.quantities["lumen volume"].value)
        iterations.append(state.iterations)

    start = time.perf_counter()
    outcome = path.follow(observe=observe)
    record.path = time.perf_counter() - start
    comm = MPI.COMM_WORLD
    memory = comm.reduce(peak_memory())
    if comm.rank != 0:
        return None
    assert outcome.kind == "reached", outcome.text
    count = path.system.count
    tangent = clock.mean("tangent and factorise") - clock.mean("factorise")
    record.ranks = comm.size
    record.unknowns = path.system.x.getSize()
    record.iterations = sum(iterations)
    record.factorisations = count.factorisations
    record.assembly = tangent + clock.mean("residual")
    record.factorisation, record.solve = clock.mean("factorise"), clock.mean("solve")
    record.reading = clock.seconds["reading"]
    record.memory = memory
    record.volume_change = volumes[-1] / volumes[0] - 1
    record.remark = "MUMPS LDLT, lagged; discontinuous linear pressure; count of unstable modes every step"
    return record


if __name__ == "__main__":
    main("this project", run, _START_UP)
