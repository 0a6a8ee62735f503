# SPDX-License-Identifier: MIT
"""Elements through which a difference of pressure drives a flow."""

from abc import abstractmethod
from dataclasses import dataclass

from annelid.geometry.checks import within
from annelid.solver.fluid.elements import TwoEnded
from annelid.solver.fluid.flow_system import Array, Terms
from annelid.solver.fluid.signals import ramp

RESISTANCE_UNIT = "MPa s/mm3"


class Conductor(TwoEnded):
    """Base of the elements whose flow depends on the difference of pressure alone."""

    conducts = True

    @abstractmethod
    def law(self, difference: float) -> tuple[float, float]:
        """Flow at a difference of pressure, and its derivative."""

    def add_rate(self, into: Terms, y: Array, t: float, at: tuple[int, ...]) -> None:
        """The flow leaves the start and reaches the end."""
        i, j = at
        flow, slope = self.law(y[i] - y[j])
        for row, sign in ((i, -1), (j, 1)):
            into.value[row] += sign * flow
            into.by_unknowns[row, i] += sign * slope
            into.by_unknowns[row, j] -= sign * slope

    def flow(self, y: Array, t: float, at: tuple[int, ...]) -> float:
        """Flow from start to end in mm³/s."""
        return self.law(y[at[0]] - y[at[1]])[0]


@dataclass(frozen=True)
class Resistance(Conductor):
    """Flow q = (p_start - p_end)/R.

    Attributes:
        resistance: R in MPa s/mm³.
    """

    resistance: float
    kind = "resistance"

    def _check(self) -> None:
        within("resistance", self.resistance, above=0, unit=RESISTANCE_UNIT)

    def law(self, difference: float) -> tuple[float, float]:
        """Flow and its derivative."""
        return difference / self.resistance, 1 / self.resistance


@dataclass(frozen=True)
class Valve(Conductor):
    """One-way valve: q = [leak d + (1 - leak) s(d - opening)]/R, where d = p_start - p_end.

    s(x) is 0 for x < 0, x²/(2 w) up to x = w, and x - w/2 from there. So q rises with d everywhere and has
    the sign of d. A closed valve leaks like the resistance R/leak. The rounded corner costs w/2 of pressure.

    Attributes:
        resistance: R of the open valve in MPa s/mm³.
        opening: Opening pressure in MPa.
        smoothing: w in MPa.
        leak: Conductance of the closed valve relative to the open one.
    """

    resistance: float
    opening: float = 0.0
    smoothing: float = 1e-6
    leak: float = 1e-6
    kind = "valve"

    def _check(self) -> None:
        within("resistance", self.resistance, above=0, unit=RESISTANCE_UNIT)
        within("opening", self.opening, least=0, unit="MPa")
        within("smoothing", self.smoothing, above=0, unit="MPa")
        within("leak", self.leak, above=0, below=1, why="a closed valve needs a finite resistance")

    def law(self, difference: float) -> tuple[float, float]:
        """Flow and its derivative."""
        opened, slope = ramp(difference - self.opening, self.smoothing)
        flow = self.leak * difference + (1 - self.leak) * opened
        return flow / self.resistance, (self.leak + (1 - self.leak) * slope) / self.resistance


@dataclass(frozen=True)
class Inertance(TwoEnded):
    """Inertia of a column of fluid: d/dt (L q) = p_start - p_end.

    Attributes:
        inertance: L in MPa s²/mm³.
    """

    inertance: float
    kind = "inertance"
    has_flow = conducts = True

    def _check(self) -> None:
        within("inertance", self.inertance, above=0, unit="MPa s2/mm3")

    def add_stored(self, into: Terms, y: Array, t: float, at: tuple[int, ...], volumes: Array) -> None:
        """L q."""
        own = at[2]
        into.value[own] += self.inertance * y[own]
        into.by_unknowns[own, own] += self.inertance

    def add_rate(self, into: Terms, y: Array, t: float, at: tuple[int, ...]) -> None:
        """Difference of pressure, and the flow at both ends."""
        i, j, own = at
        into.value[own] += y[i] - y[j]
        for node, sign in ((i, -1), (j, 1)):
            into.by_unknowns[own, node] -= sign
            into.value[node] += sign * y[own]
            into.by_unknowns[node, own] += sign

    def flow(self, y: Array, t: float, at: tuple[int, ...]) -> float:
        """Flow from start to end in mm³/s."""
        return float(y[at[2]])
