# SPDX-License-Identifier: MIT
"""Stress-free over reference size: of a whole part, or varying from place to place."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import within
from annelid.geometry.errors import InvalidValue

LEAST, MOST = 0.05, 20.0
_STRAIGHT = 1e-12  # twist below which there is none


@dataclass(frozen=True)
class NaturalStretch:
    """Stress-free over reference size of a part, along the wall directions.

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
            within(f"natural_stretch.{name}", getattr(self, name), least=LEAST, most=MOST)

    @property
    def factors(self) -> tuple[float, float, float]:
        """Stress-free over reference length along normal, hoop and axial."""
        g = self.swelling
        return g / (self.hoop * self.axial), g * self.hoop, g * self.axial

    @property
    def cast_over_mounted_thickness(self) -> float:
        """Thickness as cast over the mounted one, at the same volume: without the swelling."""
        return 1 / (self.hoop * self.axial)


@dataclass(frozen=True)
class NaturalField:
    """Natural stretch that varies: of a skin whose reference shape is the inflated one.

    A symmetric tensor, by its components along the wall directions.

    Attributes:
        hoop: Stress-free over reference length along the circumference at every node of the body, shape (n,).
        axial: The same along the meridian.
        normal: The same along the wall normal; ``None`` keeps the volume.
        shear: Component across normal and axial; ``None`` where there is none.
        twist: Components across normal and hoop, and across hoop and axial, shape (n, 2); ``None`` where the
            hoop direction is one of the tensor's axes, as in a wall of revolution.
        places: Stress-free positions X, Y, Z of the nodes, shape (n, 3), mm, if they are known: the mechanics
            then takes their gradient, which is compatible, and the components give the thickness only.

    Raises:
        InvalidValue: A value is outside 0.05 to 20, or the shears invert the material.
    """

    hoop: FloatArray
    axial: FloatArray
    normal: FloatArray | None = None
    shear: FloatArray | None = None
    twist: FloatArray | None = None
    places: FloatArray | None = None

    def __post_init__(self) -> None:
        for name in ("hoop", "axial", "normal"):
            values = getattr(self, name)
            if values is None:
                continue
            for extreme in (values.min(), values.max()):
                within(f"natural_stretch.{name}", float(extreme), least=LEAST, most=MOST)
        sheared = self.shear is not None or self.twist is not None
        if sheared and not np.linalg.eigvalsh(self._tensor)[:, 0].min() > 0.0:
            raise InvalidValue(
                "the shear is larger than the stretches along the wall directions allow",
                key="natural_stretch.shear",
            )

    @classmethod
    def of_gradient(
        cls, gradient: FloatArray, before: NaturalStretch, places: FloatArray | None = None
    ) -> "NaturalField":
        """The natural stretch of a part whose reference shape is a deformed one.

        Args:
            gradient: Of the place before over the drawn one, as ``Body.stress_free_gradient``, shape (n, 3,
                3).
            before: Natural stretch before the deformation.
            places: Positions before the deformation, shape (n, 3), mm.
        """
        G = np.array(before.factors)[:, None] * gradient
        # Rotations of the stress-free state have no meaning: the symmetric root of GᵀG.
        squares, axes = np.linalg.eigh(np.swapaxes(G, 1, 2) @ G)
        root = np.einsum("kia,ka,kja->kij", axes, np.sqrt(squares), axes)
        twist = np.column_stack([root[:, 0, 1], root[:, 1, 2]])
        straight = np.abs(twist).max() < _STRAIGHT
        normal, hoop, axial = np.moveaxis(np.diagonal(root, axis1=1, axis2=2), -1, 0)
        fitting = places if before == NaturalStretch() else None
        return cls(hoop, axial, normal, root[:, 0, 2], None if straight else twist, fitting)

    @property
    def factors(self) -> FloatArray:
        """Components normal, hoop, axial, the shear, and the twists if there are any, shape (n, 4 or 6)."""
        shear, (aslant, along) = self._shears
        h, a = self.hoop, self.axial
        normal = self.normal
        if normal is None:  # det = 1
            rest = h * shear**2 + a * aslant**2 - 2 * shear * aslant * along
            normal = (1 + rest) / (h * a - along**2)
        twist = () if self.twist is None else (aslant, along)
        return np.stack([normal, h, a, shear, *twist], axis=1)

    @property
    def thickness(self) -> FloatArray:
        """Reference over stress-free thickness of a sheet at every node, shape (n,): |G⁻¹ n|."""
        return np.asarray(np.linalg.norm(np.linalg.inv(self._tensor)[:, :, 0], axis=1))

    @property
    def _shears(self) -> tuple[FloatArray, FloatArray]:
        none = np.zeros_like(self.hoop)
        twist = np.stack([none, none]) if self.twist is None else self.twist.T
        return none if self.shear is None else self.shear, twist

    @property
    def _tensor(self) -> FloatArray:
        """The components as matrices in (normal, hoop, axial), shape (n, 3, 3)."""
        normal, hoop, axial, shear, *_ = self.factors.T
        _, (aslant, along) = self._shears
        rows = [[normal, aslant, shear], [aslant, hoop, along], [shear, along, axial]]
        return np.stack([np.stack(row, axis=-1) for row in rows], axis=1)
