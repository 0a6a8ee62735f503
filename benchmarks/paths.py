# SPDX-License-Identifier: MIT
"""What following a path costs, counted: python -m benchmarks.paths; writes results_paths.md and .csv.

Factorisations for each Newton step on the way, and states solved besides to locate each critical point.
Counts do not depend on the machine or on what else it does.
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
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.meridian_profiles import sphere
from annelid.geometry.shapes.shape import Band, Layer, Shape
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
class Cost:
    """Work of one path.

    Attributes:
        path: What is followed.
        states: States handed on, critical points left out.
        steps: Newton steps to find them, those of refused trials included.
        factorisations: Factorisations on the way, the count of unstable modes of every state included.
        critical_points: Critical points located.
        most_located: Most states solved to locate one of them.
        located: States solved to locate all of them.
        locating_factorisations: Factorisations spent on that.
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
    def share(self) -> float:
        """Factorisations for each Newton step."""
        return self.factorisations / max(self.steps, 1)


def model_of(shape: Shape, size: MeshSize, material: Material, supports: tuple[Support, ...]) -> Model:
    """A model of one layer."""
    (layer,) = shape.layers
    return Model(build(shape, size), (Part(layer.name, material),), supports)


def charged_tube() -> Model:
    """A free tube with one electrode."""
    body = build(
        Tube(1.0, 1.0, (Layer("wall", 0.05),)), MeshSize(along=0.5), [Band("whole", "wall", 0.0, 1.0)]
    )
    return Model(body, (Part("wall", RUBBER, Sheets(1, 0.05)),), CLOSED, electrodes=(Electrode("whole"),))


def wall(thickness: float) -> tuple[Layer, ...]:
    """One layer."""
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


def counted(cost: Cost, path: Path) -> Callable[[], None]:
    """Count the work of a path by wrapping its calls; returns what puts them back."""
    correct, find = Newton._correct, Locator._find
    searching: list[bool] = []

    def counted_correct(newton: Newton, *given: Any) -> None:
        cost.steps += not searching
        correct(newton, *given)

    def counted_find(locator: Locator, *given: Any) -> CriticalState:
        before = path.system.count.factorisations
        searching.append(True)
        try:
            found = find(locator, *given)
        finally:
            searching.pop()
            cost.locating_factorisations += path.system.count.factorisations - before
        cost.searches.append(found.solves)
        return found

    Newton._correct, Locator._find = counted_correct, counted_find  # type: ignore[method-assign]

    def put_back() -> None:
        Newton._correct, Locator._find = correct, find  # type: ignore[method-assign]

    return put_back


def measure(name: str) -> Cost:
    """Follow one path and count."""
    model, stage, beyond = PATHS[name]
    path = Path(model(), [stage], stepping=Stepping(beyond_instability=beyond))
    cost = Cost(name)
    put_back = counted(cost, path)
    kinds: list[str] = []
    try:
        path.follow(observe=lambda state: kinds.append(state.critical))
    finally:
        put_back()
    cost.critical_points = sum(kind != "" for kind in kinds)
    cost.states = len(kinds) - cost.critical_points
    cost.most_located, cost.located = max(cost.searches, default=0), sum(cost.searches)
    cost.factorisations = path.system.count.factorisations - cost.locating_factorisations
    return cost


def table(costs: list[Cost]) -> str:
    """Markdown of all paths."""
    head = "path | states | Newton steps | factorisations | a step | critical points | states to locate the"
    head += " dearest | states to locate all | factorisations for that"
    lines = [f"| {head} |", "|---|" + "---:|" * 8]
    for c in costs:
        numbers = (c.states, c.steps, c.factorisations, f"{c.share:.2f}", c.critical_points)
        more = (c.most_located, c.located, c.locating_factorisations)
        lines.append("| " + " | ".join(map(str, (c.path, *numbers, *more))) + " |")
    return "\n".join(lines)


def main() -> None:
    """Measure all, write the tables, print them."""
    costs = [measure(name) for name in PATHS]
    rows = [{k: v for k, v in asdict(cost).items() if k != "searches"} for cost in costs]
    with (HERE / "results_paths.csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, fieldnames=list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    (HERE / "results_paths.md").write_text(f"# What following a path costs\n\n{table(costs)}\n")
    print(table(costs))


if __name__ == "__main__":
    main()
