# SPDX-License-Identifier: MIT
"""Raw results of a state, from which quantities are read."""

from collections.abc import Mapping
from dataclasses import dataclass

from annelid.geometry.body import FloatArray
from annelid.solver.model.model import Model
from annelid.solver.readout.deformed_shape import RadialShape
from annelid.solver.readout.leak_path import Leak, LeakPath
from annelid.solver.readout.lumen import Lumen
from annelid.solver.readout.wave_shape import Sections

Places = dict[str, tuple[float, ...]]
"""Reference positions of extremes by name of the quantity, mm."""


@dataclass(frozen=True)
class StateData:
    """Raw results of one state, from which quantities are read.

    Attributes:
        model: What was solved.
        radial_shape: Measures of its inner surface.
        lumen: The lumen, ``None`` unless it is open at both ends.
        leak_path: Paths along it, ``None`` unless obstacles can shut it.
        leak: What the states before have found on its leak.
        displacement: Shape (n, 2) or (n, 3), mm.
        fields: Fields at the nodes of every cell by name, as in ``Equilibrium.fields``.
        cell_volumes: Reference cell volumes of the modelled piece, mm³.
        volume: Lumen volume of the whole part, mm³, ``None`` without a lumen.
        drawn_volume: The same in the reference shape, mm³.
        displaced: Volume that each surface under pressure has displaced since the first state, mm³.
        energies: Energies, charges and capacitances by name.
        reactions: (axial, radial) force by support, N, and torque, N mm.
        twists: Rotation by end of a part that twists, degrees.
        pressure: In the lumen, MPa.
        voltages: kV by electrode.
        obstacles: Position of obstacles by contact name, mm.
        modes: Unstable modes under given loads and under the control.
        time: s.
        flow: Values of a flow by name; empty before it begins.
        datum: Length and largest diameter in the last state without voltage, mm; ``None`` before the first.
        rest: Sections of the lumen at rest, with which a wave is compared; ``None`` in a state at rest.
    """

    model: Model
    radial_shape: RadialShape
    lumen: Lumen | None
    leak_path: LeakPath | None
    leak: Leak
    displacement: FloatArray
    fields: Mapping[str, FloatArray]
    cell_volumes: FloatArray
    volume: float | None
    drawn_volume: float
    displaced: Mapping[str, float]
    energies: Mapping[str, float]
    reactions: Mapping[str, tuple[float, float, float]]
    twists: Mapping[str, float]
    pressure: float
    voltages: Mapping[str, float]
    obstacles: Mapping[str, float]
    modes: tuple[int, int]
    time: float
    flow: Mapping[str, float]
    datum: tuple[float, float] | None = None
    rest: Sections | None = None
