# SPDX-License-Identifier: MIT
"""Where flow systems act on a part: pressure and volume of the lumen, voltage and charge of electrodes."""

import math
from abc import ABC, abstractmethod
from dataclasses import replace
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.assembly.charges import charge_of
from annelid.solver.assembly.system import System
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.model.loads import Loads


class Port(ABC):
    """Some pairs of a load e and what is stored, w = -∂Π/∂e; k pairs.

    All arrays are those of the whole part; rows are the unknowns of this rank.
    """

    def __init__(self, system: System) -> None:
        self.system = system

    @cached_property
    def _free(self) -> FloatArray:
        """1 at free unknowns and 0 at fixed ones, shape (n, 1)."""
        mask = self.system.vector()
        mask.set(1.0)
        self.system.zero_fixed(mask)
        return mask.array_r[:, None].copy()

    @abstractmethod
    def apply(self, loads: Loads, values: FloatArray) -> Loads:
        """Loads with e, shape (k,)."""

    @abstractmethod
    def present(self, loads: Loads) -> FloatArray:
        """e of some loads, shape (k,)."""

    @abstractmethod
    def stored(self) -> FloatArray:
        """w at the present unknowns and loads, shape (k,); collective."""

    @abstractmethod
    def directions(self) -> FloatArray:
        """-∂R/∂e of the modelled piece, prescribed unknowns lifted, shape (n, k)."""

    def gradients(self, directions: FloatArray) -> FloatArray:
        """∂w/∂x, shape (n, k): as w = -∂Π/∂e, the directions of the whole part on the free unknowns."""
        return self._free * directions * self.system.problem.model.body.multiplicity

    def slopes(self) -> FloatArray:
        """∂w/∂e at fixed x, shape (k,)."""
        return np.zeros(len(self.lengths()))

    @abstractmethod
    def lengths(self) -> FloatArray:
        """Lengths of the sections, shape (k,), mm; 1 where there are none."""

    def length_gradients(self) -> FloatArray:
        """Their derivatives, shape (n, k)."""
        return np.zeros((self.system.x.getLocalSize(), len(self.lengths())))

    @property
    def core(self) -> float:
        """Radius of a cylinder in the lumen, around which a fluid flows, mm; 0 without one."""
        return 0.0


class LumenPort(Port):
    """One pressure in the whole lumen, and its volume."""

    def apply(self, loads: Loads, values: FloatArray) -> Loads:
        """Set the pressure."""
        return replace(loads, pressure=float(values[0]))

    def present(self, loads: Loads) -> FloatArray:
        """The pressure."""
        return np.array([loads.pressure])

    def stored(self) -> FloatArray:
        """The volume."""
        return np.array([self.system.volume()])

    def directions(self) -> FloatArray:
        """The load vector."""
        return self._free * self.system.pressures.f["lumen"].array_r[:, None]

    def lengths(self) -> FloatArray:
        """None."""
        return np.ones(1)


class SectionPort(Port):
    """Pressures in the sections of the lumen, and the volumes of the fluid in them, V - π c² l."""

    def __init__(self, system: System) -> None:
        super().__init__(system)
        self._sections = system.pressures.sections

    def apply(self, loads: Loads, values: FloatArray) -> Loads:
        """Set the mean and what the pressures are beside it."""
        mean = float(values.mean())
        return replace(loads, pressure=mean, sections=tuple((values - mean).tolist()))

    def present(self, loads: Loads) -> FloatArray:
        """The pressures."""
        return loads.pressure + np.array(loads.sections or [0.0] * self._sections.count)

    def stored(self) -> FloatArray:
        """The volumes."""
        volumes = self._sections.volumes()
        return volumes - math.pi * self.core**2 * self.lengths() if self.core else volumes

    def directions(self) -> FloatArray:
        """The load vectors of unit pressures in the sections."""
        rows = self._sections.volume_gradients() - math.pi * self.core**2 * self._sections.length_gradients
        return self._free * self._padded(rows) / self.system.problem.model.body.multiplicity

    def lengths(self) -> FloatArray:
        """Lengths along the axis."""
        return self._sections.lengths()

    @property
    def core(self) -> float:
        """Radius of the widest cylinder that the lumen surrounds."""
        return self.system.pressures.core

    def length_gradients(self) -> FloatArray:
        """Constant."""
        return self._padded(self._sections.length_gradients)

    def _padded(self, rows: FloatArray) -> FloatArray:
        """Rows of the displacement, which comes first, with zeros for the other unknowns."""
        return np.pad(rows, ((0, self.system.x.getLocalSize() - len(rows)), (0, 0)))


class ElectrodePort(Port):
    """Voltages of electrodes and their charges."""

    def __init__(self, system: System, electrodes: tuple[str, ...]) -> None:
        super().__init__(system)
        self._charge = charge_of(system, electrodes)
        self._names = electrodes

    def apply(self, loads: Loads, values: FloatArray) -> Loads:
        """Set the voltages."""
        found = dict(zip(self._names, values.tolist(), strict=True))
        return replace(loads, voltages={**loads.voltages, **found})

    def present(self, loads: Loads) -> FloatArray:
        """The voltages."""
        return np.array([loads.voltages.get(name, 0.0) for name in self._names])

    def stored(self) -> FloatArray:
        """The charges."""
        return self._charge.each()

    def directions(self) -> FloatArray:
        """The rates of the residual by the voltages; prescribed potentials are lifted."""
        out, columns = self.system.vector(), []
        for name in self._names:
            self.system.load_rate(Loads(voltages={name: 1.0}, natural=0.0), out)
            columns.append(out.array_r.copy())
        out.destroy()
        return np.stack(columns, axis=1)

    def slopes(self) -> FloatArray:
        """Capacitances at fixed shape."""
        return self._charge.slopes()

    def lengths(self) -> FloatArray:
        """None."""
        return np.ones(len(self._names))


class Ports:
    """All ports of a flow one after another, in the order of its sections.

    Args:
        system: The equations.
        flow: What acts on the part.
    """

    def __init__(self, system: System, flow: Flow) -> None:
        self.system = system
        self._ports: list[Port] = []
        if flow.lumen is not None:
            self._ports.append(SectionPort(system) if flow.sections else LumenPort(system))
        if flow.fed:
            self._ports.append(ElectrodePort(system, flow.fed))
        self._ends = np.cumsum([len(port.lengths()) for port in self._ports])

    def apply(self, loads: Loads, values: FloatArray) -> Loads:
        """Loads with the pressures and voltages, shape (k,)."""
        for port, own in zip(self._ports, np.split(values, self._ends[:-1]), strict=True):
            loads = port.apply(loads, own)
        return loads

    def present(self) -> FloatArray:
        """The pressures and voltages in force."""
        return np.concatenate([port.present(self.system.loads) for port in self._ports])

    def state(self) -> LumenState:
        """Volumes and charges, radii √(V/(π l) + c²) and lengths at the present unknowns; collective."""
        stored = np.concatenate([port.stored() for port in self._ports])
        each = [port.lengths() for port in self._ports]
        lengths = np.concatenate(each)
        cores = np.repeat([port.core for port in self._ports], [len(own) for own in each])
        radii = np.sqrt(np.maximum(stored / (np.pi * lengths) + cores**2, 0.0))
        return LumenState(stored, radii, lengths, self._ports[0].core)

    def derivatives(self) -> tuple[FloatArray, FloatArray]:
        """-∂R/∂e, and the derivatives of volumes and charges by the unknowns, each of shape (n, k)."""
        directions = [port.directions() for port in self._ports]
        gradients = [port.gradients(own) for port, own in zip(self._ports, directions, strict=True)]
        return np.hstack(directions), np.hstack(gradients)

    def length_gradients(self) -> FloatArray:
        """Derivatives of the lengths, shape (n, k)."""
        return np.hstack([port.length_gradients() for port in self._ports])

    def slopes(self) -> FloatArray:
        """Derivatives of volumes and charges by the loads at fixed unknowns, shape (k,)."""
        return np.concatenate([port.slopes() for port in self._ports])
