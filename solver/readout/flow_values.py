# SPDX-License-Identifier: MIT
"""Reported values of a flow: pressures, flows, validity of the theory, and energies since the flow began."""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.annular_flow import largest_over_mean
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.flow import Flow
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.integrator import FlowState, integral, line_integral
from annelid.solver.fluid.lubrication import Lubrication
from annelid.solver.fluid.validity import Validity, validity
from annelid.solver.model import flow_quantities as q
from annelid.solver.records import FlowAlong


class FlowSample(NamedTuple):
    """Flow and part at one time.

    Attributes:
        flow: Unknowns of the flow.
        lumen: Volumes and charges, radii and lengths, of k sections and electrodes.
        loads: Pressures of the lumen and voltages of the electrodes that are fed, shape (k,).
        charges: Charges of all electrodes, uC.
        voltages: Their voltages, kV.
        sums: Energies, mJ, and volumes, mm³, since the flow began by the name of their quantity.
    """

    flow: FlowState
    lumen: LumenState
    loads: FloatArray
    charges: FloatArray
    voltages: FloatArray
    sums: Mapping[str, float]


class FlowValues:
    """Reads the values of a flow.

    Args:
        flow: The flow systems.
        period: Time in which the loads repeat, s.
    """

    def __init__(self, flow: Flow, *, period: float) -> None:
        self._flow = flow
        self._period = period

    def with_sums(self, start: FlowSample, first: FlowSample, last: FlowSample) -> FlowSample:
        """The end of a step with the energies and volumes that have added up.

        Args:
            start: Its start.
            first: Its first stage.
            last: Its end.
        """
        dt = last.flow.time - start.flow.time
        steps = (start, first, last)
        electrical = line_integral([s.voltages for s in steps], [s.charges for s in steps])
        added = {q.ELECTRICAL_INPUT.name: electrical}
        if self._flow.lumen is not None:
            own = self._flow.system.sections[0]
            work = line_integral([s.loads[own] for s in steps], [s.lumen.volumes[own] for s in steps])
            added[q.FLUID_WORK.name] = -work
        rates = zip(self._rates(first), self._rates(last), strict=True)
        added |= {name: integral(dt, rate, then) for (name, rate), (_, then) in rates}
        return last._replace(sums={name: start.sums.get(name, 0.0) + value for name, value in added.items()})

    def read(self, sample: FlowSample) -> dict[str, float]:
        """Values by name."""
        values = dict(sample.sums)
        t = sample.flow.time
        if self._circuit is not None:
            y = self._circuit_unknowns(sample)
            for node, pressure in zip(self._circuit.nodes, y, strict=False):
                values[q.NODE_PRESSURE_OF.of(node)] = float(pressure)
            for name, flow in self._circuit.flows(y, t).items():
                values[q.ELEMENT_FLOW_OF.of(name)] = flow
        if isinstance(self._flow.lumen, Lubrication):
            pressures, q_out = sample.loads[self._own], self._flow.lumen.flows(*self._channel(sample))
            values |= {
                q.HIGHEST_PRESSURE.name: float(pressures.max()),
                q.LOWEST_PRESSURE.name: float(pressures.min()),
                q.LOWER_OUTFLOW.name: -float(q_out[0]),
                q.UPPER_OUTFLOW.name: float(q_out[-1]),
            }
            numbers = self.validity(sample)
            names = (q.REYNOLDS, q.REDUCED_REYNOLDS, q.WOMERSLEY, q.WALL_SLOPE)
            values |= {quantity.name: number for quantity, number in zip(names, numbers, strict=True)}
        if self._flow.charging is not None:
            y = sample.flow.unknowns[self._flow.system.unknowns[-1]]
            currents = self._flow.charging.currents(y, t)
            values |= {
                q.CURRENT_OF.of(name): float(i) for name, i in zip(self._flow.fed, currents, strict=True)
            }
        return values

    def along(self, sample: FlowSample) -> FlowAlong | None:
        """Pressure and flow along the lumen; ``None`` without a fluid that flows along it."""
        if not isinstance(self._flow.lumen, Lubrication):
            return None
        y, lumen, t = self._channel(sample)
        through = self._flow.lumen.flows(y, lumen, t)
        flow = (through[1:] + through[:-1]) / 2
        return FlowAlong(
            height=np.cumsum(lumen.lengths) - lumen.lengths / 2,
            length=lumen.lengths,
            radius=lumen.radii,
            pressure=sample.loads[self._own],
            flow=flow,
            core=np.full_like(flow, lumen.core),
            peak_speed=_peak_speed(self._flow.lumen.fluid.index, flow, lumen, self._flow.lumen.gap),
        )

    def validity(self, sample: FlowSample) -> Validity:
        """Numbers that show whether the theory of a flow along the lumen holds; zero without one."""
        if not isinstance(self._flow.lumen, Lubrication):
            return Validity(0.0, 0.0, 0.0, 0.0)
        return validity(self._flow.lumen, *self._channel(sample), period=self._period)

    def _rates(self, sample: FlowSample) -> Iterator[tuple[str, float]]:
        """Powers, mW, and flows, mm³/s, by the name of their sum."""
        t = sample.flow.time
        if self._circuit is not None:
            y = self._circuit_unknowns(sample)
            yield q.CIRCUIT_LOSS.name, self._circuit.dissipation(y, t)
            for name, flow in self._circuit.flows(y, t).items():
                yield q.ELEMENT_VOLUME_OF.of(name), flow
        if isinstance(self._flow.lumen, Lubrication):
            channel = self._channel(sample)
            flows, works = self._flow.lumen.flows(*channel), self._flow.lumen.end_powers(*channel)
            yield q.VISCOUS_LOSS.name, self._flow.lumen.dissipation(*channel)
            yield q.LOWER_VOLUME.name, -float(flows[0])
            yield q.UPPER_VOLUME.name, float(flows[-1])
            yield from zip((q.LOWER_WORK.name, q.UPPER_WORK.name), works, strict=True)
        if self._flow.charging is not None:
            y = sample.flow.unknowns[self._flow.system.unknowns[-1]]
            charges = sample.lumen.volumes[self._flow.system.sections[-1]]
            source, lost, leaked = np.sum(list(self._flow.charging.powers(y, charges, t)), axis=0)
            yield q.SOURCE_ENERGY.name, float(source)
            yield q.RESISTIVE_LOSS.name, float(lost)
            yield q.LEAK_LOSS.name, float(leaked)

    @property
    def _own(self) -> slice:
        return self._flow.system.sections[0]

    @property
    def _circuit(self) -> Circuit | None:
        return self._flow.circuit

    def _circuit_unknowns(self, sample: FlowSample) -> FloatArray:
        y = sample.flow.unknowns[self._flow.system.unknowns[0]]
        return y[self._flow.sections :]

    def _channel(self, sample: FlowSample) -> tuple[FloatArray, LumenState, float]:
        y = sample.flow.unknowns[self._flow.system.unknowns[0]]
        return y, sample.lumen.part(self._own), sample.flow.time


def _peak_speed(n: float, flow: FloatArray, lumen: LumenState, gap: float) -> FloatArray:
    """Largest speed in each section of a fluid with the flow index n; nan if there is no formula."""
    if lumen.core and n != 1:
        return np.full_like(flow, np.nan)
    radii = np.maximum(lumen.radii, lumen.core + gap)
    mean = flow / (np.pi * (radii**2 - lumen.core**2))
    return mean * (largest_over_mean(lumen.core / radii) if lumen.core else (3 * n + 1) / (n + 1))
