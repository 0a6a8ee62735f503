# SPDX-License-Identifier: MIT
"""Whether lubrication theory holds: numbers of a state of the flow along the lumen, and warnings."""

import math
from typing import NamedTuple

import numpy as np

from annelid.solver.fluid.flow_system import Array, LumenState
from annelid.solver.fluid.fluid import Fluid
from annelid.solver.fluid.lubrication import Lubrication

# Common practice, no source: inertia, unsteadiness and slope each have to be small against 1.
MOST_REDUCED_REYNOLDS, MOST_REYNOLDS, MOST_WOMERSLEY, MOST_SLOPE = 1.0, 2000.0, 1.0, 0.3


class Validity(NamedTuple):
    """Largest numbers along the lumen.

    Attributes:
        reynolds: Reynolds number ρ v D/η.
        reduced_reynolds: Largest product of the Reynolds number and the wall slope.
        womersley: Womersley number.
        slope: Slope |dr/dz| of the wall.
    """

    reynolds: float
    reduced_reynolds: float
    womersley: float
    slope: float

    def warnings(self) -> list[str]:
        """One sentence for each number with which the theory does not hold."""
        checks = (
            ("Reynolds number", self.reynolds, MOST_REYNOLDS, "the flow is turbulent"),
            (
                "Reynolds number times wall slope",
                self.reduced_reynolds,
                MOST_REDUCED_REYNOLDS,
                "inertia counts",
            ),
            ("Womersley number", self.womersley, MOST_WOMERSLEY, "the profile lags behind the pressure"),
            ("wall slope", self.slope, MOST_SLOPE, "the flow is not along the axis"),
        )
        return [
            f"lubrication theory does not hold: the {name} is {value:.3g} (allowed {most:g}), so {why}; "
            "take a circuit instead"
            for name, value, most, why in checks
            if value > most
        ]


def validity(system: Lubrication, y: Array, lumen: LumenState, t: float, *, period: float) -> Validity:
    """Numbers of a state.

    Args:
        system: The flow along the lumen.
        y: Unknowns, shape (n,).
        lumen: Its sections.
        t: Time in s.
        period: Of the motion of the wall in s.
    """
    radii, flows = lumen.radii, system.flows(y, lumen, t)
    through = np.maximum(abs(flows[1:]), abs(flows[:-1]))
    free = np.maximum(radii - lumen.core, system.gap)
    numbers = np.array(
        [reynolds_number(system.fluid, q, h, lumen.core) for q, h in zip(through, free, strict=True)]
    )
    slopes = wall_slopes(radii, lumen.lengths)
    beside = np.maximum(np.append(slopes, 0.0), np.insert(slopes, 0, 0.0))
    return Validity(
        float(numbers.max()),
        float((numbers * beside).max()),
        womersley_number(system.fluid, period, float(free.max())),
        float(slopes.max(initial=0.0)),
    )


def reynolds_number(fluid: Fluid, flow: float, radius: float, core: float = 0.0) -> float:
    """Reynolds number of a flow in mm³/s through a section.

    Of Metzner and Reed, from memory: ρ v^(2-n) D^n/(K 8^(n-1) ((3n+1)/(4n))^n); for n = 1 it is ρ v D/η. D is
    the hydraulic diameter.

    Args:
        fluid: The fluid.
        flow: Flow in mm³/s.
        radius: Radius of the section, or its distance from a cylinder on the axis, in mm.
        core: Radius of the cylinder in mm; 0 without one.
    """
    n, D, v = fluid.index, 2 * radius, abs(flow) / (math.pi * radius * (radius + 2 * core))
    profile = 8 ** (n - 1) * ((3 * n + 1) / (4 * n)) ** n
    return fluid.density * v ** (2 - n) * D**n / (fluid.viscosity * profile)


def womersley_number(fluid: Fluid, period: float, radius: float) -> float:
    """Womersley number r √(ω ρ/η) for a period in s and a radius in mm.

    With a power law η is the viscosity at the rate of shear ω.
    """
    ω = 2 * math.pi / period
    return radius * math.sqrt(ω * fluid.density / (fluid.viscosity * ω ** (fluid.index - 1)))


def wall_slopes(radii: Array, lengths: Array) -> Array:
    """Slopes |dr/dz| of the wall between the middles of the sections, shape (k - 1,)."""
    return np.abs(np.diff(radii)) / ((lengths[1:] + lengths[:-1]) / 2)
