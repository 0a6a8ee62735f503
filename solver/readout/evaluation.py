# SPDX-License-Identifier: MIT
"""Reading a converged state: its fields, integrals and reactions as one record."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.geometry.self_crossing import SelfCrossing
from annelid.solver.assembly.system import System
from annelid.solver.display import ROUNDING
from annelid.solver.energy.problem import Problem
from annelid.solver.errors import NoEquilibrium, SelfContact
from annelid.solver.model.loads import Loads
from annelid.solver.model.quantities import LARGEST_DIAMETER, LEAK_GAP, LENGTH
from annelid.solver.model.scales import scales_of
from annelid.solver.readout.deformed_shape import RadialShape
from annelid.solver.readout.displaced_volume import DisplacedVolume
from annelid.solver.readout.field_reader import FieldReader
from annelid.solver.readout.gathering import Gathering
from annelid.solver.readout.integrals import Integrals
from annelid.solver.readout.leak_path import Leak, LeakPath
from annelid.solver.readout.lumen import Lumen
from annelid.solver.readout.reactions import Reactions, check_reaction_free
from annelid.solver.readout.shape_measures import lumen_sections
from annelid.solver.readout.state_data import StateData
from annelid.solver.readout.state_quantities import quantities_of
from annelid.solver.readout.twist import EndTwists, in_space, motion_in_space
from annelid.solver.readout.wave_shape import Sections
from annelid.solver.records import Equilibrium, FlowAlong, Measure


@dataclass(frozen=True)
class StateInfo:
    """How a path reached a state; the attributes are those of ``Equilibrium``."""

    index: int
    stage: str
    parameter: float
    iterations: int
    residual: float
    factorisations: int
    unstable_modes: int
    unstable_modes_controlled: int
    critical: str = ""
    reached_by: str = ""


_PENETRATION = 10.0  # times the tolerance of a contact: as far as an obstacle may be penetrated
_DECIMALS = 6  # of a place, mm
_NO_FORCE = 1e-5  # of μ L²: force below which reaction-free nodes have none


class Evaluation:
    """Turns the present unknowns of a system into an ``Equilibrium``.

    Args:
        system: The equations.
        self_crossing: Whether walls may pass through each other.

    Attributes:
        system: The equations.
        reader: Reads the fields.
        fields: Fields read last, by name, on the first rank; ``None`` before the first.
        flow: Values of a flow that answers to the part, by name of their quantity.
        flow_along: The flow along the lumen, if there is one.
        in_wave: Whether loads follow waves: states without voltage are then not the part at rest.
    """

    def __init__(self, system: System, *, self_crossing: bool = False) -> None:
        self.system = system
        self.problem: Problem = system.problem
        self._self_crossing = self_crossing
        self._gathering = Gathering(self.problem)
        self.reader = FieldReader(self.problem, self._gathering)
        self.fields: dict[str, FloatArray] | None = None
        self.flow: dict[str, float] = {}
        self.flow_along: FlowAlong | None = None
        self.in_wave = False
        self._reactions = Reactions(system)
        self._integrals = Integrals(system, self._gathering)
        model = self.problem.model
        body, inventory = model.body, model.inventory
        self._radial_shape = RadialShape(body)
        self._lumen = Lumen(body) if inventory.has_open_ends else None
        self._leak_path = LeakPath(body, inventory.open_ends) if model.scope.has_seal else None
        self._leak = Leak()
        self._datum: tuple[float, float] | None = None
        self._rest: Sections | None = None
        self._displaced = {s: DisplacedVolume(system, s) for s in self.problem.model.wetted}
        self._twists = EndTwists(system)
        self._drawn_volume = system.volume() if system.equations.volume is not None else 0.0

    def read_fields(self) -> NoEquilibrium | None:
        """Read the fields of the present state; collective.

        Returns:
            Why no part can be in this state, ``None`` if one can: a cell is inverted (det F <= 0), or walls
            pass through each other.
        """
        self.fields = None  # two states at a time would cost memory
        self.fields, valid = self.reader.read(self.system.loads.natural)
        if not valid:
            return NoEquilibrium("the state found has inverted elements (det F <= 0)")
        displacement = None if self._self_crossing else self.displacement()
        touch = None if displacement is None else self._crossing.touch(displacement)
        touch = self.problem.comm.bcast(touch)
        if touch is None:
            return None
        place = np.round(touch.place, _DECIMALS) + 0.0  # no negative zero
        axes = ("R", "Z") if len(place) == 2 else ("X", "Y", "Z")
        at = ", ".join(f"{axis} {value:.3g} mm" for axis, value in zip(axes, place, strict=True))
        what = "lumen" if touch.in_lumen else "part"
        return SelfContact(f"walls of the {what} touch each other at {at}", place=tuple(place))

    @cached_property
    def _crossing(self) -> SelfCrossing:
        tolerances = [contact.tolerance for contact in self.problem.model.contacts]
        return SelfCrossing(self.problem.model.body, depth=_PENETRATION * max(tolerances, default=0.0))

    def displacement(self) -> FloatArray | None:
        """Nodal displacement in body order on the first rank, shape (n, 2) or (n, 3), mm; collective.

        That of an axisymmetric model has no twist.
        """
        every = self._unknowns()
        return None if every is None else every[:, : self.problem.axial + 1]

    def _unknowns(self) -> FloatArray | None:
        return self._gathering.nodes(self.problem.unknowns[0].x.array)

    def quantities(self, names: Sequence[str]) -> dict[str, float]:
        """Some quantities of the state read last by ``read_fields``, which need not be one of the path.

        Numbers of unstable modes are not counted. Collective; the values are those of all ranks.
        """
        data = self._state_data(_without_rounding(self.system.loads), (0, 0))
        found = quantities_of(data)[0] if data is not None else {}
        values = {name: found[name].value for name in names if name in found}
        return dict(self.problem.comm.bcast(values))

    def equilibrium(self, info: StateInfo, mode: PETSc.Vec | None = None) -> Equilibrium | None:
        """The state read last by ``read_fields`` as a record on the first rank, else ``None``; collective.

        Args:
            info: How the path came to it.
            mode: Mode of a critical point, laid out like the unknowns.
        """
        loads = _without_rounding(self.system.loads)
        data = self._state_data(loads, (info.unstable_modes, info.unstable_modes_controlled))
        shape = self._mode_shape(mode)
        displacement = self._in_space()
        for volume in self._displaced.values():
            volume.accept()
        self._twists.accept()
        if data is None:
            return None
        assert displacement is not None
        quantities, profiles, places = quantities_of(data)
        if not any(loads.voltages.values()):
            self._datum = quantities[LENGTH.name].value, quantities[LARGEST_DIAMETER.name].value
        if self._rests(loads) and data.model.timed and data.lumen is not None:
            self._rest = lumen_sections(data)
        if LEAK_GAP.name in quantities:
            self._leak = self._leak.after(quantities[LEAK_GAP.name].value, loads.pressure)
        return Equilibrium(
            **vars(info),
            loads=_measures(loads, self.problem),
            quantities=quantities,
            displacement=displacement,
            fields=data.fields,
            profiles=profiles,
            places=places,
            mode=shape,
            flow_along=self.flow_along,
        )

    def _state_data(self, loads: Loads, modes: tuple[int, int]) -> StateData | None:
        """Raw results of the present state, on the first rank."""
        displacement = self.displacement()
        energies = self._integrals.read(dict(loads.voltages))
        check_reaction_free(self.system, _NO_FORCE * scales_of(self.problem.model).force)
        reactions = self._reactions.read()
        volume = self.system.volume() if self.system.equations.volume is not None else None
        displaced = {surface: volume.read() for surface, volume in self._displaced.items()}
        twists = self._twists.read()
        cell_volumes = self._integrals.cell_volumes
        if self.problem.comm.rank != 0:
            return None
        assert displacement is not None
        assert self.fields is not None
        assert cell_volumes is not None
        return StateData(
            model=self.problem.model,
            radial_shape=self._radial_shape,
            lumen=self._lumen,
            leak_path=self._leak_path,
            leak=self._leak,
            displacement=displacement,
            fields=self.fields,
            cell_volumes=cell_volumes,
            volume=volume,
            drawn_volume=self._drawn_volume,
            displaced=displaced,
            energies=energies,
            reactions=reactions,
            twists=twists,
            pressure=loads.pressure,
            voltages=dict(loads.voltages),
            obstacles=dict(loads.obstacles),
            modes=modes,
            time=loads.time,
            flow=self.flow,
            datum=self._datum,
            rest=None if self._rests(loads) else self._rest,
        )

    def _rests(self, loads: Loads) -> bool:
        """Whether a wave is measured from the present state on."""
        return not self.in_wave and not any(loads.voltages.values())

    def _mode_shape(self, mode: PETSc.Vec | None) -> FloatArray | None:
        """Displacement part of a mode in body order on the first rank, largest motion 1."""
        shape = None if mode is None else self._gathering.nodes(mode.array_r)
        if self.problem.arm is not None:
            every = self._unknowns()  # collective
            if every is not None and shape is not None:
                arm = float(self.problem.arm.value)
                shape = motion_in_space(self.problem.model.body.points, every, shape, arm)
        return None if shape is None else shape / np.abs(shape).max()

    def _in_space(self) -> FloatArray | None:
        """Displacement as in ``Equilibrium``."""
        every = self._unknowns()
        if every is None or self.problem.arm is None:
            return every
        return in_space(self.problem.model.body.points, every, float(self.problem.arm.value))


def _without_rounding(loads: Loads) -> Loads:
    """Loads without what is left of the voltage of an electrode that has been discharged."""
    voltages = {name: 0.0 if abs(V) < ROUNDING else V for name, V in loads.voltages.items()}
    return replace(loads, voltages=voltages)


def _measures(loads: Loads, problem: Problem) -> Mapping[str, Measure]:
    """Loads by name with their units; those of electrodes that no stage names are 0."""
    known = replace(
        loads, voltages={e.name: loads.voltages.get(e.name, 0.0) for e in problem.model.electrodes}
    )
    return {
        name: measure
        for name, kind, measure in known.measures()
        if kind.attribute != "pressure" or problem.model.has_lumen
    }
