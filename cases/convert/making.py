# SPDX-License-Identifier: MIT
"""Making of a part with a printed lattice: inflation of its skin, and the stroke of the bare skin."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.cases.convert.model import parts_of
from annelid.cases.convert.shape import band_of, shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGridTable
from annelid.cases.schema.making import MakingTable
from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.lattice_mesh.wall_grid import wall_grid
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Band, Shape
from annelid.solver.model.quantities import LARGEST_DIAMETER, LENGTH

if TYPE_CHECKING:
    from annelid.solver.model.boundary import BareStroke
    from annelid.solver.model.stages import Stage
    from annelid.solver.records import Equilibrium, Outcome

__all__ = [
    "BARE_STEPS",
    "bare_stroke_of",
    "inflated_wall",
    "inflation_of",
    "measured_face_of",
    "skin_mesh_size_of",
    "skin_of",
]

BARE_STEPS = 10  # of the bare skin to the largest voltages
_THROUGH = 2  # elements through each layer of the axisymmetric skin


def inflated_wall(case: Case) -> tuple[InflatedWall | MeasuredWall, float]:
    """Inflate the skin of a case with an axisymmetric model, on this rank only.

    Returns:
        The inflated wall, with its measured face if there is one, and its pressure, MPa.

    Raises:
        InvalidValue: The shape cannot be inflated, or not up to the given pressure or volume.
    """
    assert case.making is not None
    shape, size, making = skin_of(case), skin_mesh_size_of(case), case.making
    if not shape.can_be_inflated:
        text = f"a {case.shape.kind} cannot be inflated: choose a tube, a balloon or a dome"
        raise InvalidValue(text, subject="making")
    body, (grid, caps), face = build(shape, size), wall_grid(shape, size), measured_face_of(case)
    if face is not None and making.volume is None and making.pressure is None:
        volume = face.enclosed_volume - _volume_of_wall(body.points[grid.nodes])
        making = making.model_copy(update={"volume": volume})
    outcome, states = _follow(case, body, inflation_of(making), ())
    if outcome.kind != "reached":
        raise InvalidValue(
            f"the skin cannot be inflated to the given pressure or volume: {outcome.text}", subject="making"
        )
    last = states[-1]
    inflated = body.points + last.displacement
    wall = InflatedWall(
        grid,
        body.points[grid.nodes],
        inflated[grid.nodes],
        float(grid.through[-1]),
        tuple(InflatedCap(radius, height, inflated[nodes]) for radius, height, nodes in caps),
    )
    return (wall if face is None else MeasuredWall(wall, face)), last.loads["pressure"].value


def measured_face_of(case: Case) -> RadialSurface | None:
    """Return the outer face of the wall if it was measured.

    Raises:
        InvalidValue: The radii are not a full grid.
    """
    table = case.lattice.measured if case.lattice is not None else None
    if not isinstance(table, MeasuredGridTable):
        return None
    for number, row in enumerate(table.radii, start=1):
        if len(row) != len(table.heights):
            text = (
                f"has {len(row)} radii, but heights has {len(table.heights)}: give one radius for each height"
            )
            raise InvalidValue(text, key=f"radii[#{number}]")
    return RadialSurface(np.array(table.heights), np.array(table.radii))


def inflation_of(making: MakingTable) -> "Stage":
    """Return the stage that inflates the skin."""
    from annelid.solver.model.stages import Stage

    control = "volume" if making.volume is not None else "load"
    return Stage(
        "inflate", pressure=making.pressure, volume=making.volume, control=control, steps=making.steps
    )


def skin_mesh_size_of(case: Case) -> MeshSize:
    """Return the element sizes of the axisymmetric mesh on which the skin is inflated."""
    assert case.making is not None
    along = case.making.along if case.making.along is not None else case.mesh.along / 3
    return MeshSize(along=along, through=_THROUGH)


def _volume_of_wall(grid: FloatArray) -> float:
    """Return the volume that a grid of positions R, Z covers when it is turned around the axis, mm³."""
    outline = np.concatenate([grid[0], grid[1:, -1], grid[-1, -2::-1], grid[-2::-1, 0]])
    R, Z = outline.T
    return float(abs(np.pi / 3 * np.sum((R[1:] ** 2 + R[1:] * R[:-1] + R[:-1] ** 2) * np.diff(Z))))


def skin_of(case: Case) -> Shape:
    """Return the shape that is inflated: the wall without the layers that are cast over the lattice."""
    shape = shape_of(case)
    cover = case.making.cover if case.making is not None else ()
    return shape.with_layers(tuple(layer for layer in shape.layers if layer.name not in cover))


def bare_stroke_of(case: Case) -> "BareStroke | None":
    """Compute the stroke of the bare, unstretched skin under the largest voltages of the case.

    This is done on this rank only. The result is ``None`` if the case has no making or no voltage, or does
    not request the comparison.
    """
    from annelid.solver.model.boundary import BareStroke
    from annelid.solver.model.stages import Stage

    if case.making is None or not case.making.compare or not case.electrodes:
        return None
    voltages = {
        name: max((stage.voltage.get(name, 0.0) for stage in case.stages), default=0.0)
        for name in (e.name for e in case.electrodes)
    }
    if not any(voltages.values()):
        return None
    bands = [band_of(electrode) for electrode in case.electrodes]
    body = build(shape_of(case), skin_mesh_size_of(case), bands)
    _, states = _follow(case, body, Stage("energise", voltages=voltages, steps=BARE_STEPS), bands)
    size = np.array(
        [[state.quantities[name].value for name in (LENGTH.name, LARGEST_DIAMETER.name)] for state in states]
    )
    highest = max(voltages, key=lambda name: voltages[name])
    volts = np.array([state.loads[f"voltage {highest}"].value for state in states])
    stroke = size / size[0] - 1
    return BareStroke(volts, stroke[:, 0], stroke[:, 1])


def _follow(
    case: Case, body: Body, stage: "Stage", bands: "tuple[Band, ...] | list[Band]"
) -> "tuple[Outcome, list[Equilibrium]]":
    """Follow the bare skin through one stage."""
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
    stepping = Stepping(beyond_instability="follow" if bands else "stop")
    outcome = Path(model, [stage], stepping=stepping, comm=MPI.COMM_SELF).follow(observe=states.append)
    return outcome, states
