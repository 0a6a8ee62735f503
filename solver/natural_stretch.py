# SPDX-License-Identifier: MIT
"""Stress-free size over drawn size: of a whole part, or from place to place."""

from dataclasses import dataclass

import numpy as np

from geometry.body import FloatArray
from geometry.errors import InputError


@dataclass(frozen=True)
class NaturalStretch:
    """Stress-free size over drawn size of a part, along the wall directions.

    The thickness follows from the volume: ``normal`` = swelling³ / (hoop · axial).

    Attributes:
        hoop: Along the circumference, before swelling.
        axial: Along the meridian, before swelling.
        swelling: Linear growth in all directions (1: none).
    """

    hoop: float = 1.0
    axial: float = 1.0
    swelling: float = 1.0

    def __post_init__(self) -> None:
        for name in ("hoop", "axial", "swelling"):
            value = getattr(self, name)
            if not 0.05 <= value <= 20:
                raise InputError(
                    f"natural_stretch.{name} is {value:.4g}; it must lie between 0.05 and 20",
                    key=f"natural_stretch.{name}",
                    value=value,
                )

    @property
    def factors(self) -> tuple[float, float, float]:
        """Stress-free over drawn length along normal, hoop and axial."""
        g = self.swelling
        return g / (self.hoop * self.axial), g * self.hoop, g * self.axial


@dataclass(frozen=True)
class NaturalField:
    """Natural stretch from place to place: of a skin that is drawn as it was inflated.

    A symmetric tensor with the hoop direction as one of its axes; across it, its components along the wall
    normal and the meridian.

    Attributes:
        hoop: Stress-free over drawn length along the circumference at every node of the body, shape (n,).
        axial: The same along the meridian.
        normal: The same along the wall normal; ``None`` keeps the volume.
        shear: Component across normal and meridian; ``None`` where there is none.

    Raises:
        InputError: A value lies outside 0.05 to 20, or the shear turns the material inside out.
    """

    hoop: FloatArray
    axial: FloatArray
    normal: FloatArray | None = None
    shear: FloatArray | None = None

    def __post_init__(self) -> None:
        for name in ("hoop", "axial", "normal"):
            values = getattr(self, name)
            if values is None:
                continue
            if not (np.all(values >= 0.05) and np.all(values <= 20)):
                raise InputError(
                    f"natural stretch: {name} runs from {values.min():.4g} to {values.max():.4g}; it must "
                    f"lie between 0.05 and 20",
                    key=f"natural_stretch.{name}",
                )

        if self.shear is not None and not np.all(self.shear**2 < self.factors[:, 0] * self.axial):
            raise InputError(
                "natural stretch: the shear is larger than the stretches along normal and meridian allow",
                key="natural_stretch.shear",
            )

    @classmethod
    def of_gradient(cls, gradient: FloatArray, before: NaturalStretch) -> "NaturalField":
        """The natural stretch of a part drawn after a deformation.

        Args:
            gradient: Of the place before over the drawn one, as ``Body.natural``, shape (n, 5).
            before: Natural stretch that it had before.
        """
        normal, hoop, axial = before.factors
        G = gradient[:, :4].reshape(-1, 2, 2) * np.array([[normal], [axial]])
        # Rotations of the stress-free state say nothing: the symmetric root of GᵀG, by Cayley and Hamilton.
        C = np.swapaxes(G, 1, 2) @ G
        volume = np.sqrt(np.linalg.det(C))
        root = (C + volume[:, None, None] * np.eye(2)) / np.sqrt(np.trace(C, axis1=1, axis2=2) + 2 * volume)[
            :, None, None
        ]
        return cls(hoop * gradient[:, 4], root[:, 1, 1], root[:, 0, 0], root[:, 0, 1])

    @property
    def factors(self) -> FloatArray:
        """Components normal, hoop, axial and the shear at every node, shape (n, 4)."""
        shear = np.zeros_like(self.hoop) if self.shear is None else self.shear
        normal = self.normal if self.normal is not None else (1 / self.hoop + shear**2) / self.axial
        return np.stack([normal, self.hoop, self.axial, shear], axis=1)

    @property
    def thickness(self) -> FloatArray:
        """Drawn over stress-free thickness of a sheet at every node, shape (n,)."""
        normal, _, axial, shear = self.factors.T
        return np.asarray(np.hypot(axial, shear) / (normal * axial - shear**2))
