# SPDX-License-Identifier: MIT
"""Cost of the stabilisation: python -m benchmarks.stabilisation; writes results_stabilisation.md.

This assembles the tangent and the residual of the tube with and without the term that prevents spurious
modes. Both are assembled in turn, and the least processor time of each counts, which other work on the
machine affects least.
"""

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

import numpy as np
from dolfinx.fem import petsc as fem_petsc

from annelid.solver.assembly.system import System
from annelid.solver.energy import cell_energies
from annelid.solver.energy.problem import Problem
from annelid.solver.model.boundary import Support
from annelid.solver.model.loads import Loads
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from benchmarks.ours import body_of
from benchmarks.tube import Size, structured_mesh

MERIDIAN, SOLID = Size(10, 480), Size(2, 14, 20)
NEO_HOOKEAN = {"shear_modulus": 1.0}
MODELS = {
    "neo-Hookean": (MERIDIAN, Material("m", "neo-hookean", NEO_HOOKEAN)),
    "neo-Hookean, compressible": (MERIDIAN, Material("m", "neo-hookean", NEO_HOOKEAN, bulk_modulus=20.0)),
    "Gent": (MERIDIAN, Material("m", "gent", {"shear_modulus": 1.0, "stretch_limit": 30.0})),
    "Ogden, two terms": (
        MERIDIAN,
        Material("m", "ogden", {"moduli": (0.6, 0.1), "exponents": (1.3, 5.0)}),
    ),
    "neo-Hookean, 3-D": (SOLID, Material("m", "neo-hookean", NEO_HOOKEAN)),
}
REPEATS = 40


def system_of(size: Size, material: Material, *, stabilised: bool) -> System:
    """Return the system of the clamped tube, slightly deformed."""
    factors = dict(cell_energies.STABILISATION)
    if not stabilised:
        cell_energies.STABILISATION.update(dict.fromkeys(factors, 0.0))
        # Without its term, the form of a compressible part is that of an incompressible one.
        material = replace(material, bulk_modulus=None)
    supports = (Support("end_low", "all"), Support("end_high", "all"))
    system = System(Problem(Model(body_of(structured_mesh(size)), (Part("wall", material),), supports)))
    cell_energies.STABILISATION.update(factors)
    system.apply(Loads())
    system.x.array_w[:] = 1e-4 * np.random.default_rng(1).standard_normal(system.x.array.size)
    system.read_x()
    return system


def assemble_tangent(system: System) -> None:
    """Assemble the tangent without its factorisation."""
    matrix = system.tangent.matrix
    matrix.zeroEntries()
    fem_petsc.assemble_matrix(matrix, system.equations.tangent, bcs=system.dirichlet.bcs)
    matrix.assemble()


def least(calls: list[Callable[[], None]]) -> list[float]:
    """Return the least processor time of each call, ms; the calls take turns."""
    times = np.zeros((REPEATS, len(calls)))
    for row in times:
        for i, call in enumerate(calls):
            start = time.process_time()
            call()
            row[i] = time.process_time() - start
    return list(1e3 * times[1:].min(axis=0))


def row(name: str) -> str:
    """Return the row of a model."""
    size, material = MODELS[name]
    systems = [system_of(size, material, stabilised=on) for on in (False, True)]
    tangents = least([lambda s=s: assemble_tangent(s) for s in systems])  # type: ignore[misc]
    residuals = least([s.assemble_residual for s in systems])
    cells = len(systems[0].problem.model.body.cells)
    numbers = [f"{a:.1f} | {b:.1f} | {b / a - 1:+.0%}" for a, b in (tangents, residuals)]
    return f"| {name} | {cells} | {' | '.join(numbers)} |\n"


def main() -> None:
    """Measure all models and write the table."""
    head = "| material | cells | tangent without, ms | with | cost | residual without, ms | with | cost |\n"
    lines = "".join(map(row, MODELS))
    text = f"# Cost of the stabilisation\n\n{head}|---|{'---:|' * 7}\n{lines}"
    (Path(__file__).parent / "results_stabilisation.md").write_text(text)
    print(text)


if __name__ == "__main__":
    main()
