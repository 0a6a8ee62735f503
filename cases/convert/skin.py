# SPDX-License-Identifier: MIT
"""The skin of a part with a printed lattice: its shape, and its inflation with an axisymmetric model."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from annelid.cases.convert.model import parts_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.making import MakingTable
from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice_mesh.wall_grid import WallGrid
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.shape import Shape
from annelid.solver.display import digits
from annelid.solver.model.quantities import LUMEN_VOLUME, MEAN_HOOP_STRETCH
from annelid.solver.records import Measure

if TYPE_CHECKING:
    from annelid.solver.model.stages import Stage
    from annelid.solver.records import Equilibrium, Outcome

__all__ = ["follow_skin", "inflate", "inflation_of", "skin_mesh_size_of", "skin_of"]

_THROUGH = 2  # elements through each layer of the axisymmetric skin
_SAME_RADIUS = 1e-9  # of the largest
_REFERENCE_PRESSURE = 1e-3  # MPa; the pressure is found as a multiple of it


class WidestPlace(NamedTuple):
    """The nodes through the wall where the stress-free skin is widest; of a straight tube in its middle.

    Attributes:
        nodes: From the inner to the outer face, shape (p,).
        positions: Stress-free R, Z, shape (p, 2), mm.
        weights: Of a mean through the thickness (Simpson's rule), shape (p,).
    """

    nodes: IntArray
    positions: FloatArray
    weights: FloatArray

    def mean_hoop_stretch(self, displacement: FloatArray) -> float:
        """Mean of r/R through the wall, from the displacement of every node, shape (n, 2)."""
        return 1.0 + float(self.weights @ (displacement[self.nodes, 0] / self.positions[:, 0]))


def skin_of(case: Case) -> Shape:
    """Return the shape that is inflated: the wall without the layers that are cast over the lattice."""
    shape = shape_of(case)
    return shape.with_layers(tuple(layer for layer in shape.layers if layer.name not in case.cover))


def skin_mesh_size_of(case: Case) -> MeshSize:
    """Return the element sizes of the axisymmetric mesh on which the skin is inflated."""
    assert case.making is not None
    along = case.making.along if case.making.along is not None else case.mesh.size / 3
    return MeshSize(along=along, through=_THROUGH)


def inflation_of(making: MakingTable) -> "Stage":
    """Return the stage that inflates the skin."""
    from annelid.solver.model.stages import Stage

    if making.stretch is not None:
        within("stretch", making.stretch, above=1.0, why="1 is the skin without pressure")
    control = "volume" if making.volume is not None else "load"
    return Stage(
        "inflate", pressure=making.pressure, volume=making.volume, control=control, steps=making.steps
    )


def inflate(case: Case, body: Body, grid: WallGrid, making: MakingTable) -> "tuple[Equilibrium, ...]":
    """Inflate the skin up to its pressure, volume or stretch.

    Returns:
        The states, each with the mean hoop stretch at the widest place among its quantities.

    Raises:
        InvalidValue: The skin cannot be inflated so far.
    """
    place = _widest_place(body.points, grid)
    if making.stretch is not None:
        making = making.model_copy(
            update={"volume": _volume_at_stretch(case, body, place, making), "stretch": None}
        )
    outcome, states = follow_skin(case, body, inflation_of(making), ())
    if outcome.kind != "reached":
        raise InvalidValue(
            f"the skin cannot be inflated to the given pressure, volume or stretch: {outcome.text}",
            subject="making",
        )
    return tuple(_with_stretch(state, place) for state in states)


def _widest_place(points: FloatArray, grid: WallGrid) -> WidestPlace:
    radius = points[grid.nodes[len(grid.nodes) // 2], 0]
    widest = np.flatnonzero(radius > (1 - _SAME_RADIUS) * radius.max())
    nodes = grid.nodes[:, widest[len(widest) // 2]]
    weights, t = np.zeros(len(nodes)), grid.through
    for i in range(0, len(nodes) - 1, 2):  # one element each
        weights[i : i + 3] += (t[i + 2] - t[i]) / t[-1] * np.array([1.0, 4.0, 1.0]) / 6
    return WidestPlace(nodes, points[nodes], weights)


def _with_stretch(state: "Equilibrium", place: WidestPlace) -> "Equilibrium":
    stretch = Measure(place.mean_hoop_stretch(state.displacement), "1")
    return replace(state, quantities={**state.quantities, MEAN_HOOP_STRETCH: stretch})


def _volume_at_stretch(case: Case, body: Body, place: WidestPlace, making: MakingTable) -> float:
    """Enclosed volume at which the mean hoop stretch at the widest place is the given one, mm³.

    The stretch is the control, so a pressure maximum is no obstacle.

    Raises:
        InvalidValue: The widest place is held, or no equilibrium with this stretch was found.
    """
    from annelid.solver.model.stages import PointMotion, Stage

    assert making.stretch is not None
    _refuse_held(case, body, place)
    stage = Stage(
        "inflate",
        pressure=_REFERENCE_PRESSURE,
        point=PointMotion(
            tuple(map(tuple, place.positions.tolist())),
            component=0,
            motion=making.stretch - 1.0,
            weights=tuple(place.weights / place.positions[:, 0]),
        ),
        control="displacement",
        steps=making.steps,
    )
    outcome, states = follow_skin(case, body, stage, (), beyond_instability="follow")
    if outcome.kind != "reached":
        most = max(place.mean_hoop_stretch(state.displacement) for state in states)
        text = (
            f"must be above 1 and below about {digits(most, 3)}, up to which the skin can be inflated, got "
        )
        raise InvalidValue(f"{text}{making.stretch:g}", key="stretch", subject="making", value=making.stretch)
    return states[-1].quantities[LUMEN_VOLUME.name].value


def _refuse_held(case: Case, body: Body, place: WidestPlace) -> None:
    """Refuse a skin whose radius is fixed where it is widest."""
    from annelid.solver.model.boundary import Support

    for table in case.supports:
        if table.region not in body.surfaces or not Support(table.region, table.hold).fixes_radial_motion:
            continue
        if np.isin(place.nodes, body.surface_nodes(table.region)).any():
            text = (
                f"the skin is widest at '{table.region}', where its radius is fixed, so its hoop stretch "
                "is 1 there: give pressure or volume instead"
            )
            raise InvalidValue(text, key="stretch", subject="making")


def follow_skin(
    case: Case, body: Body, stage: "Stage", bands: "Sequence[Band]", *, beyond_instability: str = "stop"
) -> "tuple[Outcome, list[Equilibrium]]":
    """Follow the bare skin through one stage, on this rank only."""
    from annelid.solver.continuation.path import Path
    from annelid.solver.model.boundary import Electrode, Support
    from annelid.solver.model.model import Model
    from annelid.solver.model.stepping import Stepping
    from annelid.solver.mpi import MPI

    supports = [s for s in case.supports if s.region in body.surfaces]
    model = Model(
        body,
        parts=parts_of(case, body),
        supports=tuple(Support(s.region, s.hold) for s in supports),
        electrodes=tuple(Electrode(band.name) for band in bands),
    )
    states: list[Equilibrium] = []
    stepping = Stepping(beyond_instability=beyond_instability)
    outcome = Path(model, [stage], stepping=stepping, comm=MPI.COMM_SELF).follow(observe=states.append)
    return outcome, states
