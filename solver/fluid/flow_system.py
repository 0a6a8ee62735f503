# SPDX-License-Identifier: MIT
"""Equations of a fluid or of charges: what is stored changes at a rate, dM(y, V, t)/dt = h(y, V, r, l, t)."""

from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


class LumenState(NamedTuple):
    """What the structure gives to a flow system at one time.

    Attributes:
        volumes: Volume of each section of the lumen, shape (k,), in mm³; for electrodes their charges in uC.
        radii: Mean radius of each section, shape (k,), in mm.
        lengths: Length of each section along the axis, shape (k,), in mm.
        core: Radius of a cylinder on the axis, around which the fluid flows, in mm; 0 without one.
    """

    volumes: Array
    radii: Array
    lengths: Array
    core: float = 0.0

    def part(self, sections: slice) -> "LumenState":
        """Some of the sections."""
        volumes, radii, lengths = self.volumes[sections], self.radii[sections], self.lengths[sections]
        return LumenState(volumes, radii, lengths, self.core)


class Terms(NamedTuple):
    """M or h with its derivatives.

    Attributes:
        value: One number for each row, shape (n,).
        by_unknowns: Derivative by y, shape (n, n).
        by_lumen: Derivative of M by the volumes, shape (n, k), or of h by the volumes, the radii and the
            lengths one after another, shape (n, 3 k).
    """

    value: Array
    by_unknowns: Array
    by_lumen: Array


class FlowSystem(Protocol):
    """A differential-algebraic system d/dt M(y, V, t) = h(y, V, r, l, t); rows with M = 0 are algebraic."""

    @property
    def names(self) -> tuple[str, ...]:
        """Name of each of the n unknowns y."""

    @property
    def units(self) -> tuple[str, ...]:
        """Unit of each unknown."""

    @property
    def scales(self) -> Array:
        """Typical size of each unknown, shape (n,)."""

    @property
    def pressures(self) -> Array:
        """Matrix of shape (k, n) that takes y to the pressure (or voltage) of each of the k sections."""

    def stored(self, y: Array, volumes: Array, t: float) -> Terms:
        """M(y, V, t)."""

    def rate(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """h(y, V, r, l, t)."""
