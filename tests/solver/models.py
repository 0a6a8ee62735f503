# SPDX-License-Identifier: MIT
"""Bodies, models and runs that the solver tests share."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from annelid.geometry.body import Body
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Layer
from annelid.geometry.shapes.tube import Tube
from annelid.solver.continuation.path import Path
from annelid.solver.model.boundary import Section, Support
from annelid.solver.model.material import Material
from annelid.solver.model.model import Model
from annelid.solver.model.parts import Part
from annelid.solver.model.stages import Stage
from annelid.solver.model.stepping import Stepping
from annelid.solver.records import Equilibrium, Outcome

FOLLOW = Stepping(beyond_instability="follow")
SLIDING = (Support("end_low", "axial"), Support("end_high", "axial"))
CLOSED = (Support("end_low", "axial"), Support("end_high", "plate"))
CLAMPED = (Support("end_low", "all"), Support("end_high", "all"))


def neo_hookean(mu: float = 1.0, **more: Any) -> Material:
    return Material("rubber", "neo-hookean", {"shear_modulus": mu}, **more)


def tube_body(
    B_over_A: float = 1.1,
    length: float = 1.0,
    *,
    A: float = 1.0,
    along: float | None = None,
    layers: Sequence[tuple[str, float]] = (),
    bands: Sequence[Band] = (),
    **size: Any,
) -> Body:
    """A tube of one layer ``wall`` (or the given layers), by default one or two elements long."""
    wall = tuple(Layer(*layer) for layer in layers) or (Layer("wall", (B_over_A - 1) * A),)
    return build(Tube(A, length, wall), MeshSize(along=along or length / 2, **size), bands)


def cylinder_body(radius: float, length: float, cells: tuple[int, int] = (2, 2)) -> Body:
    """A solid cylinder on its axis: region ``core``, a structured mesh of second-order quadrilaterals."""
    nr, nz = cells
    R, Z = np.meshgrid(np.linspace(0, radius, 2 * nr + 1), np.linspace(0, length, 2 * nz + 1), indexing="ij")
    points = np.stack([R.ravel(), Z.ravel()], axis=1)
    n = np.arange(len(points)).reshape(2 * nr + 1, 2 * nz + 1)
    i, j = (a.ravel() for a in np.meshgrid(2 * np.arange(nr), 2 * np.arange(nz), indexing="ij"))
    corners = [(0, 0), (2, 0), (2, 2), (0, 2), (1, 0), (2, 1), (1, 2), (0, 1), (1, 1)]
    quads = np.stack([n[i + a, j + b] for a, b in corners], axis=1)
    r, z = 2 * np.arange(nr), 2 * np.arange(nz)
    lines = {
        "outer": np.stack([n[-1, z], n[-1, z + 2], n[-1, z + 1]], axis=1),
        "end_low": np.stack([n[r, 0], n[r + 2, 0], n[r + 1, 0]], axis=1),
        "end_high": np.stack([n[r, -1], n[r + 2, -1], n[r + 1, -1]], axis=1),
    }
    starts = np.cumsum([0, *(len(line) for line in lines.values())])
    surfaces = {name: np.arange(starts[k], starts[k + 1]) for k, name in enumerate(lines)}
    normal = np.tile([1.0, 0.0], (len(points), 1))
    return Body(
        model="axisymmetric",
        points=points,
        cell_type="quad9",
        cells=quads,
        regions={"core": np.arange(len(quads))},
        bands={},
        facets=np.concatenate(list(lines.values())),
        surfaces=surfaces,
        normal=normal,
    )


def tube_model(body: Body, material: Material, supports: tuple[Support, ...] = SLIDING, **more: Any) -> Model:
    """A model of a one-layer tube with a section ``mid`` half-way up."""
    height = float(body.points[:, -1].max()) / 2
    return Model(body, (Part("wall", material),), supports, sections=(Section("mid", height),), **more)


def run(
    model: Model, stages: Sequence[Stage], *, stepping: Stepping = FOLLOW
) -> tuple[Outcome, list[Equilibrium]]:
    """Follow a model; the outcome and all its states."""
    states: list[Equilibrium] = []
    outcome = Path(model, stages, stepping=stepping).follow(observe=states.append)
    return outcome, states


def reached(model: Model, stages: Sequence[Stage], *, stepping: Stepping = FOLLOW) -> list[Equilibrium]:
    """The states of a path that must reach its end."""
    outcome, states = run(model, stages, stepping=stepping)
    assert outcome.kind == "reached", outcome.text
    return states


def last_of(states: Sequence[Equilibrium], stage: str) -> Equilibrium:
    """The state at the end of a stage."""
    return [s for s in states if s.stage == stage][-1]


def value(state: Equilibrium, quantity: str) -> float:
    """A quantity of a state."""
    return state.quantities[quantity].value
