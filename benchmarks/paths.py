# SPDX-License-Identifier: MIT
"""Work of following a path: python -m benchmarks.paths; writes results_paths.md and results_paths.csv.

This counts the factorisations for each Newton step, and the additional states that are solved to locate each
critical point. The counts do not depend on the machine or its load.
"""

import csv
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path as FilePath
from typing import Any

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Layer, Shape
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.critical_points import CriticalState, Locator
from annelid.solver.continuation.newton import Newton
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Electrode, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part, Sheets
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping

HERE = FilePath(__file__).parent
RUBBER = Material("rubber", "neo-hookean", {"shear_modulus": 1.0}, permittivity=3.0)
GENT = Material("latex", "gent", {"shear_modulus": 0.3, "stretch_limit": 30.0})
CLOSED = (Support("end_low", "axial"), Support("end_high", "plate"))
SLIDING = (Support("end_low", "axial"), Support("end_high", "axial"))


@dataclass
class PathWork:
    """Work of following one path.

    Attributes:
        path: Description of the path.
        states: Number of states without critical points.
        steps: Newton steps of these states, including those of rejected steps.
        factorisations: Factorisations, including those for the number of unstable modes of every state.
        critical_points: Number of located critical points.
        most_located: Largest number of states solved to locate one critical point.
        located: Number of states solved to locate all critical points.
        locating_factorisations: Factorisations for locating them.
    """

    path: str
    states: int = 0
    steps: int = 0
    factorisations: int = 0
    critical_points: int = 0
    most_located: int = 0
    located: int = 0
    locating_factorisations: int = 0
    searches: list[int] = field(default_factory=list, repr=False)

    @property
    def factorisations_per_step(self) -> float:
        """Factorisations for each Newton step."""
        return self.factorisations / max(self.steps, 1)


def model_of(shape: Shape, size: MeshSize, material: Material, supports: tuple[Support, ...]) -> Model:
    """Return a model with one layer."""
    (layer,) = shape.layers
    return Model(build(shape, size), (Part(layer.name, material),), supports)


def charged_tube() -> Model:
    """Return a free tube with one electrode."""
    body = build(
        Tube(1.0, 1.0, (Layer("wall", 0.05),)), MeshSize(along=0.5), [Band("whole", "wall", 0.0, 1.0)]
    )
    return Model(body, (Part("wall", RUBBER, Sheets(1, 0.05)),), CLOSED, electrodes=(Electrode("whole"),))


def wall(thickness: float) -> tuple[Layer, ...]:
    """Return a single layer."""
    return (Layer("wall", thickness),)


PATHS: dict[str, tuple[Callable[[], Model], Stage, str]] = {
    "closed tube through its pressure maximum, by volume": (
        lambda: model_of(Tube(1.0, 0.5, wall(0.1)), MeshSize(along=0.25), RUBBER, CLOSED),
        Stage("fill", volume=8.0, control="volume", steps=12),
        "follow",
    ),
    "the same by arc length": (
        lambda: model_of(Tube(1.0, 0.5, wall(0.1)), MeshSize(along=0.25), RUBBER, CLOSED),
        Stage("fill", pressure=0.1, arc=1.5, control="arc", steps=12),
        "follow",
    ),
    "Gent balloon through maximum and minimum, by arc length": (
        lambda: model_of(
            Balloon(sphere(10.0, half=True), wall(0.2)),
            MeshSize(along=1.0, through=1),
            GENT,
            (Support("end_low", "symmetric"),),
        ),
        Stage("fill", pressure=0.012, arc=40.0, control="arc", steps=25),
        "follow",
    ),
    "dielectric tube past pull-in, by charge": (
        charged_tube,
        Stage("charge", charges={"whole": 0.1}, control="charge", steps=14),
        "follow",
    ),
    "dome through snap and snap back, by arc length": (
        lambda: model_of(
            Dome(10.0, 3.0, wall(0.5)), MeshSize(along=0.25), RUBBER, (Support("end_low", "all"),)
        ),
        Stage("snap", pressure=-0.01, arc=8.0, control="arc", steps=60),
        "follow",
    ),
    "long tube onto its bulge, by arc length": (
        lambda: model_of(Tube(5.0, 60.0, wall(1.0)), MeshSize(along=1.5, through=1), GENT, CLOSED),
        Stage("inflate", pressure=0.05, arc=25.0, control="arc", steps=40),
        "branch",
    ),
    "ring that collapses in 3-D, on its buckled branch": (
        lambda: model_of(
            Tube(0.975, 0.2, wall(0.05)),
            MeshSize(model="sector", along=0.2, through=1, around=48, sector=90.0),
            RUBBER,
            SLIDING,
        ),
        Stage("suck", pressure=-1.4 * 0.05**3, steps=6),
        "branch",
    ),
}


def counted(work: PathWork, path: Path) -> Callable[[], None]:
    """Count the work of a path by wrapping its calls; the returned function restores the calls."""
    correct, find = Newton._correct, Locator._find
    searching: list[bool] = []

    def counted_correct(newton: Newton, *given: Any) -> None:
        work.steps += not searching
        correct(newton, *given)

    def counted_find(locator: Locator, *given: Any) -> CriticalState:
        before = path.system.count.factorisations
        searching.append(True)
        try:
            state = find(locator, *given)
        finally:
            searching.pop()
            work.locating_factorisations += path.system.count.factorisations - before
        work.searches.append(state.solves)
        return state

    Newton._correct, Locator._find = counted_correct, counted_find  # type: ignore[method-assign]

    def restore() -> None:
        Newton._correct, Locator._find = correct, find  # type: ignore[method-assign]

    return restore


def measure(name: str) -> PathWork:
    """Follow one path and count its work."""
    model, stage, beyond = PATHS[name]
    path = Path(model(), [stage], stepping=Stepping(beyond_instability=beyond))
    work = PathWork(name)
    restore = counted(work, path)
    kinds: list[str] = []
    try:
        path.follow(observe=lambda state: kinds.append(state.critical))
    finally:
        restore()
    work.critical_points = sum(kind != "" for kind in kinds)
    work.states = len(kinds) - work.critical_points
    work.most_located, work.located = max(work.searches, default=0), sum(work.searches)
    work.factorisations = path.system.count.factorisations - work.locating_factorisations
    return work


def table(works: list[PathWork]) -> str:
    """Return the Markdown table of all paths."""
    head = (
        "path | states | Newton steps | factorisations | per step | critical points | most states to locate"
    )
    head += " one | states to locate all | factorisations for this"
    lines = [f"| {head} |", "|---|" + "---:|" * 8]
    for work in works:
        numbers = (
            work.states,
            work.steps,
            work.factorisations,
            f"{work.factorisations_per_step:.2f}",
            work.critical_points,
        )
        more = (work.most_located, work.located, work.locating_factorisations)
        lines.append("| " + " | ".join(map(str, (work.path, *numbers, *more))) + " |")
    return "\n".join(lines)


def main() -> None:
    """Measure all paths, write the tables and print them."""
    works = [measure(name) for name in PATHS]
    rows = [{k: v for k, v in asdict(work).items() if k != "searches"} for work in works]
    with (HERE / "results_paths.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    (HERE / "results_paths.md").write_text(f"# Work of following a path\n\n{table(works)}\n")
    print(table(works))


if __name__ == "__main__":
    main()
