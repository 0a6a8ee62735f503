# SPDX-License-Identifier: MIT
"""Making of a part with a printed lattice: inflation of its skin, and the stroke of the bare skin."""

from typing import TYPE_CHECKING

import numpy as np

from annelid.cases.convert.shape import band_of, shape_of
from annelid.cases.convert.skin import follow_skin, inflate, skin_mesh_size_of, skin_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGridTable
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.lattice_mesh.wall_grid import wall_grid
from annelid.geometry.meshing.build import build
from annelid.solver.model.quantities import LARGEST_DIAMETER, LENGTH

if TYPE_CHECKING:
    from annelid.solver.model.boundary import BareStroke
    from annelid.solver.records import Equilibrium

__all__ = ["BARE_STEPS", "bare_stroke_of", "inflated_wall", "measured_face_of"]

BARE_STEPS = 10  # of the bare skin to the largest voltages


def inflated_wall(case: Case) -> "tuple[InflatedWall | MeasuredWall, tuple[Equilibrium, ...]]":
    """Inflate the skin of a case with an axisymmetric model, on this rank only.

    Returns:
        The inflated wall, with its measured face if there is one, and the states of its inflation.

    Raises:
        InvalidValue: The shape cannot be inflated, or not as far as required.
    """
    assert case.making is not None
    shape, size, making = skin_of(case), skin_mesh_size_of(case), case.making
    if not shape.can_be_inflated:
        text = f"a {case.shape.kind} cannot be inflated: choose a tube, a balloon or a dome"
        raise InvalidValue(text, subject="making")
    body, (grid, caps), face = build(shape, size), wall_grid(shape, size), measured_face_of(case)
    if face is not None and (making.pressure, making.volume, making.stretch) == (None, None, None):
        volume = face.enclosed_volume - _volume_of_wall(body.points[grid.nodes])
        making = making.model_copy(update={"volume": volume})
    states = inflate(case, body, grid, making)
    inflated = body.points + states[-1].displacement
    wall = InflatedWall(
        grid,
        body.points[grid.nodes],
        inflated[grid.nodes],
        float(grid.through[-1]),
        tuple(InflatedCap(radius, height, inflated[nodes]) for radius, height, nodes in caps),
    )
    return (wall if face is None else MeasuredWall(wall, face)), states


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


def _volume_of_wall(grid: FloatArray) -> float:
    """Return the volume that a grid of positions R, Z covers when it is turned around the axis, mm³."""
    outline = np.concatenate([grid[0], grid[1:, -1], grid[-1, -2::-1], grid[-2::-1, 0]])
    R, Z = outline.T
    return float(abs(np.pi / 3 * np.sum((R[1:] ** 2 + R[1:] * R[:-1] + R[:-1] ** 2) * np.diff(Z))))


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
    stage = Stage("energise", voltages=voltages, steps=BARE_STEPS)
    _, states = follow_skin(case, body, stage, bands, beyond_instability="follow")
    size = np.array(
        [[state.quantities[name].value for name in (LENGTH.name, LARGEST_DIAMETER.name)] for state in states]
    )
    highest = max(voltages, key=lambda name: voltages[name])
    volts = np.array([state.loads[f"voltage {highest}"].value for state in states])
    stroke = size / size[0] - 1
    return BareStroke(volts, stroke[:, 0], stroke[:, 1])
