# SPDX-License-Identifier: MIT
"""Making a part with a printed lattice: the skin inflated, and the bare skin to compare its stroke with."""

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from annelid.cases.convert.model import parts_of
from annelid.cases.convert.shape import shape_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import MeasuredGrid
from annelid.geometry.body import Body, FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.measured_surface import RadialSurface
from annelid.geometry.lattice_mesh.inflated_cap import InflatedCap
from annelid.geometry.lattice_mesh.inflated_wall import InflatedWall
from annelid.geometry.lattice_mesh.measured_wall import MeasuredWall
from annelid.geometry.lattice_mesh.wall_grid import wall_grid
from annelid.geometry.meshing.build import build
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.balloon import Balloon
from annelid.geometry.shapes.dome import Dome
from annelid.geometry.shapes.shape import Band, Shape
from annelid.geometry.shapes.tube import Tube

if TYPE_CHECKING:
    from annelid.solver.model.boundary import BareStroke
    from annelid.solver.model.stages import Stage
    from annelid.solver.records import Equilibrium, Outcome

__all__ = ["bare_stroke_of", "inflated_wall", "skin_of"]

_THROUGH = 2  # elements through each layer of the axisymmetric skin


def inflated_wall(case: Case) -> tuple[InflatedWall | MeasuredWall, float]:
    """Inflate the skin of a case, axisymmetric, on this rank alone.

    Returns:
        The wall as inflated, with its measured face if there is one, and the pressure that holds it, MPa.

    Raises:
        InputError: The skin is a sleeve, or cannot be inflated so far.
    """
    from annelid.solver.model.stages import Stage

    assert case.making is not None
    shape, making = skin_of(case), case.making
    if not isinstance(shape, Tube | Balloon | Dome):
        text = f"making: the skin must be a tube, a balloon or a dome, not a {case.shape.kind}"
        raise InputError(text, key="making")
    body, (grid, caps), face = build(shape, _size(case)), wall_grid(shape, _size(case)), _measured_face(case)
    volume = making.volume
    if face is not None and volume is None and making.pressure is None:
        volume = face.enclosed_volume - _volume_of_wall(body.points[grid.nodes])
    control = "volume" if volume is not None else "load"
    stage = Stage("inflate", pressure=making.pressure, volume=volume, control=control, steps=making.steps)
    outcome, states = _follow(case, body, stage, ())
    if outcome.kind != "reached":
        raise InputError(f"making: the skin cannot be inflated so far: {outcome.text}", key="making")
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


def _measured_face(case: Case) -> RadialSurface | None:
    """The outer face of the inflated skin, if it was measured."""
    given = case.lattice.measured if case.lattice is not None else None
    if not isinstance(given, MeasuredGrid):
        return None
    return RadialSurface(np.array(given.heights), np.array(given.radii))


def _volume_of_wall(grid: FloatArray) -> float:
    """Volume of what the outline of a grid of positions R, Z sweeps around the axis, mm³."""
    outline = np.concatenate([grid[0], grid[1:, -1], grid[-1, -2::-1], grid[-2::-1, 0]])
    R, Z = outline.T
    return float(abs(np.pi / 3 * np.sum((R[1:] ** 2 + R[1:] * R[:-1] + R[:-1] ** 2) * np.diff(Z))))


def skin_of(case: Case) -> Shape:
    """The drawing of what is inflated: the whole wall but for layers cast over the lattice."""
    shape = shape_of(case)
    cover = case.making.cover if case.making is not None else ()
    return replace(shape, layers=tuple(layer for layer in shape.layers if layer.name not in cover))


def bare_stroke_of(case: Case) -> "BareStroke | None":
    """Stroke of the bare skin, unstretched, under the largest voltages of the case; on this rank alone.

    ``None`` if the case has no making, no voltage, or does not ask for the comparison.
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
    bands = [Band(e.name, e.region, e.start or 0.0, e.end or 0.0) for e in case.electrodes]
    body = build(shape_of(case), _size(case), bands)
    _, states = _follow(case, body, Stage("energise", voltages=voltages, steps=10), bands)
    size = np.array(
        [[state.quantities[name].value for name in ("length", "largest diameter")] for state in states]
    )
    highest = max(voltages, key=lambda name: voltages[name])
    volts = np.array([state.loads[f"voltage {highest}"].value for state in states])
    stroke = size / size[0] - 1
    return BareStroke(volts, stroke[:, 0], stroke[:, 1])


def _size(case: Case) -> MeshSize:
    assert case.making is not None
    along = case.making.along if case.making.along is not None else case.mesh.along / 3
    return MeshSize(along=along, through=_THROUGH)


def _follow(
    case: Case, body: Body, stage: "Stage", bands: "tuple[Band, ...] | list[Band]"
) -> "tuple[Outcome, list[Equilibrium]]":
    """Follow the bare skin through one stage."""
    from annelid.solver.continuation.path import Path
    from annelid.solver.model.boundary import Electrode, Support
    from annelid.solver.model.model import Model
    from annelid.solver.model.stepping import Stepping
    from annelid.solver.mpi import MPI

    held = [s for s in case.supports if s.region in body.surfaces]
    model = Model(
        body,
        parts=parts_of(case, body),
        supports=tuple(Support(s.region, s.hold) for s in held),
        electrodes=tuple(Electrode(band.name) for band in bands),
    )
    states: list[Equilibrium] = []
    stepping = Stepping(beyond_instability="follow" if bands else "stop")
    outcome = Path(model, [stage], stepping=stepping, comm=MPI.COMM_SELF).follow(observe=states.append)
    return outcome, states
