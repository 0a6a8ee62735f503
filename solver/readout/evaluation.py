# SPDX-License-Identifier: MIT
"""Reading a converged state: its fields, integrals and reactions as one record."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from petsc4py import PETSc

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.system import System
from annelid.solver.energy.problem import Problem
from annelid.solver.model.loads import Loads
from annelid.solver.model.scales import scales_of
from annelid.solver.readout.displaced_volume import SweptVolume
from annelid.solver.readout.field_reader import FieldReader
from annelid.solver.readout.gathering import Gathering
from annelid.solver.readout.integrals import Integrals
from annelid.solver.readout.reactions import check_floating, reactions_of
from annelid.solver.readout.state_quantities import Reading, quantities_of
from annelid.solver.records import Equilibrium, Measure


@dataclass(frozen=True)
class Arrival:
    """How a path came to a state; the attributes are those of ``Equilibrium``."""

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


_NO_FORCE = 1e-5  # of μ L²: a load for what floats where none acts


class Evaluation:
    """Turns the present unknowns of a system into an ``Equilibrium``.

    Attributes:
        system: The equations.
        reader: Reads the fields.
        fields: Fields read last, by name, on the first rank; ``None`` before the first.
    """

    def __init__(self, system: System) -> None:
        self.system = system
        self.problem: Problem = system.problem
        self._gathering = Gathering(self.problem)
        self.reader = FieldReader(self.problem, self._gathering)
        self.fields: dict[str, FloatArray] | None = None
        self._integrals = Integrals(system, self._gathering)
        self._datum: tuple[float, float] | None = None
        self._swept = SweptVolume(system) if system.has_volume else None
        self._drawn_volume = system.volume() if system.has_volume else 0.0

    def read_fields(self) -> bool:
        """Read the fields of the present state; False if the part is turned inside out. Collective."""
        assert self.system.loads is not None
        self.fields = None  # two states at a time would cost memory
        self.fields, upright = self.reader.read(self.system.loads.natural)
        return upright

    def displacement(self) -> FloatArray | None:
        """Nodal displacement in body order on the first rank, shape (n, 2) or (n, 3), mm; collective."""
        return self._gathering.nodes(self.problem.unknowns[0].x.array)

    def equilibrium(self, arrival: Arrival, mode: PETSc.Vec | None = None) -> Equilibrium | None:
        """The state read last by ``read_fields`` as a record on the first rank, else ``None``; collective.

        Args:
            arrival: How the path came to it.
            mode: Mode of a critical point, laid out like the unknowns.
        """
        loads = self.system.loads
        assert loads is not None
        reading = self._reading(loads, (arrival.unstable_modes, arrival.unstable_modes_controlled))
        shape = self._mode_shape(mode)
        if reading is None:
            return None
        quantities, profiles, places = quantities_of(reading)
        if not any(loads.voltages.values()):
            self._datum = quantities["length"].value, quantities["largest diameter"].value
        return Equilibrium(
            **vars(arrival),
            loads=_measures(loads, self.problem),
            quantities=quantities,
            displacement=reading.displacement,
            fields=reading.fields,
            profiles=profiles,
            places=places,
            mode=shape,
        )

    def _reading(self, loads: Loads, modes: tuple[int, int]) -> Reading | None:
        """Raw results of the present state on the first rank."""
        displacement = self.displacement()
        energies = self._integrals.read(dict(loads.voltages))
        check_floating(self.system, _NO_FORCE * scales_of(self.problem.model).force)
        reactions = reactions_of(self.system)
        volume = self.system.volume() if self.system.has_volume else None
        swept = self._swept.update() if self._swept is not None else None
        cell_volumes = self._integrals.cell_volumes
        if self.problem.comm.rank != 0:
            return None
        assert displacement is not None
        assert self.fields is not None
        assert cell_volumes is not None
        return Reading(
            model=self.problem.model,
            displacement=displacement,
            fields=self.fields,
            cell_volumes=cell_volumes,
            volume=volume,
            drawn_volume=self._drawn_volume,
            swept=swept,
            energies=energies,
            reactions=reactions,
            voltages=dict(loads.voltages),
            obstacles=dict(loads.obstacles),
            modes=modes,
            datum=self._datum,
        )

    def _mode_shape(self, mode: PETSc.Vec | None) -> FloatArray | None:
        """Displacement part of a mode in body order on the first rank, largest motion 1."""
        shape = None if mode is None else self._gathering.nodes(mode.array_r)
        return None if shape is None else shape / np.abs(shape).max()


def _measures(loads: Loads, problem: Problem) -> Mapping[str, Measure]:
    """Loads by name with their units."""
    measures: dict[str, Measure] = {}
    if problem.model.has_lumen:
        measures["pressure"] = Measure(loads.pressure, "MPa")
    for electrode in problem.model.electrodes:
        measures[f"voltage {electrode.name}"] = Measure(loads.voltages.get(electrode.name, 0.0), "kV")
    measures |= {f"obstacle {n}": Measure(v, "mm") for n, v in loads.obstacles.items()}
    measures |= {f"axial force {n}": Measure(v, "N") for n, v in loads.forces.items()}
    measures |= {f"displacement {n}": Measure(v, "mm") for n, v in loads.displacements.items()}
    return measures
