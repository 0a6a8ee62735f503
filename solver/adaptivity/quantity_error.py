# SPDX-License-Identifier: MIT
"""The estimated error of a quantity, and what each row and column of elements adds to it."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray

__all__ = ["QuantityError"]

_REMAINING = 4 / 3  # error over the change with elements of half the size, at order 2
_SLOWEST = 2.0  # the same at order 1, as beside a singular corner
_CANCELLED = 0.25  # of all that rows and columns add, which may cancel by accident on one mesh


@dataclass(frozen=True)
class QuantityError:
    """A quantity on a mesh and its error there.

    Attributes:
        quantity: Name of the quantity.
        stage: Stage at whose end it is judged, "" for the last state.
        value: Its value, in its internal unit.
        change: Its value on the mesh of halved elements less that on this mesh.
        along: What each row of elements adds to the error, shape (rows,).
        through: What each column adds, shape (columns,).
    """

    quantity: str
    stage: str
    value: float
    change: float
    along: FloatArray
    through: FloatArray

    @property
    def error(self) -> float:
        """Estimated exact value less the value."""
        return _REMAINING * self.change

    @property
    def bar(self) -> float:
        """Half width of the error bar: the error if it converges slowly, or if little of it cancels."""
        spread = float(np.abs(self.along).sum() + np.abs(self.through).sum())
        return max(_SLOWEST * abs(self.change), _CANCELLED * spread)
