# SPDX-License-Identifier: MIT
"""Checks of the equations in time: peristaltic pumping in a tube that moves as given, and a windkessel."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.solver.fluid.circuit import Circuit
from annelid.solver.fluid.elements import GROUND
from annelid.solver.fluid.flow_system import LumenState
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.integrator import integral, starting_state, step_alone
from annelid.solver.fluid.lubrication import Lubrication, Reservoir
from annelid.solver.fluid.sources import FlowSource
from annelid.solver.fluid.windkessels import windkessel

__all__ = ["peristaltic_pump", "windkessel_step"]

_WAVE, _SECTIONS = 0.4, 60
_NO_LUMEN = LumenState(np.zeros(0), np.zeros(0), np.zeros(0))


def peristaltic_pump() -> float:
    """Flow over π a² c of a train of waves without a difference of pressure.

    Lengths along the tube are in wavelengths, times in periods, radii in a, pressures in 8 η c λ/a².
    """
    n = _SECTIONS
    pump = Lubrication(n, Fluid(1 / 8), Reservoir(0.0), Reservoir(0.0), 1e-4, pressure_scale=1.0)
    edges = np.linspace(0, 1, n + 1)
    points, weights = np.polynomial.legendre.leggauss(4)
    z = edges[:-1, None] + (1 + points) / 2 / n

    def lumen(t: float) -> LumenState:
        volumes = np.pi * ((1 + _WAVE * np.sin(2 * np.pi * (z - t))) ** 2) @ weights / 2 / n
        return LumenState(volumes, np.sqrt(volumes / (np.pi / n)), np.full(n, 1 / n))

    def flow(state: Any) -> float:
        return float(pump.flows(state.unknowns, lumen(state.time), state.time)[-1]) / math.pi

    done = _steps(pump, np.linspace(0, 1, n + 1), lumen)
    return sum(float(integral(1 / n, flow(step.first), flow(step.last))) for step in done)


def windkessel_step() -> float:
    """Pressure 1 s after a step of inflow of 100 mL/s, mmHg."""
    body = windkessel("body", "aorta", 1.0, 1.3, characteristic=0.05)
    circuit = Circuit((FlowSource("heart", GROUND, "aorta", 100.0), *body), 0, pressure_scale=1.0)
    times = np.concatenate([np.linspace(0, 0.2, 161), np.linspace(0.2, 1.0, 161)[1:]])
    last = _steps(circuit, times, lambda t: _NO_LUMEN)[-1].last
    return float(circuit.pressure("aorta", last.unknowns))


def _steps(system: Any, times: FloatArray, lumen: Callable[[float], LumenState]) -> list[Any]:
    """Steps from time to time, from rest."""
    state = starting_state(system, np.zeros(len(system.names)), lumen(times[0]), times[0])
    steps = []
    for t in times[1:]:
        steps.append(step_alone(system, state, t - state.time, lumen))
        state = steps[-1].last
    return steps
