# SPDX-License-Identifier: MIT
"""A tube whose radius changes from one end to the other."""

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from annelid.geometry.checks import one_of, within
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import TAPERS, tapered
from annelid.geometry.shapes.shape import Layer, Shape


@dataclass(frozen=True)
class TaperedTube(Shape):
    """A tube of bonded layers from Z = 0 to Z = length whose inner radius runs from one value to another.

    Its ends are plane. Layers keep their thickness along the wall normal.

    Attributes:
        low_radius: Radius of the lumen at Z = 0, mm.
        high_radius: Radius of the lumen at Z = length, mm.
        length: Length, mm.
        layers: Layers from inside to outside.
        taper: ``"straight"`` (a cone) or ``"smooth"`` (level at both ends: the radius follows the quintic
            x³ (10 - 15 x + 6 x²) of the relative height x).

    Raises:
        InvalidValue: A length is not positive, names clash, or the wall is so thick that it would fold.
    """

    kind: ClassVar[str] = "tapered tube"

    low_radius: float
    high_radius: float
    length: float
    layers: tuple[Layer, ...]
    taper: str = "straight"

    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""
        for key in ("low_radius", "high_radius", "length"):
            within(key, getattr(self, key), above=0.0, unit="mm")
        self.check_layers()
        one_of("taper", self.taper, TAPERS)
        if not self.plane_ends:
            self.meridian.check_wall(self.thickest)

    @property
    def plane_ends(self) -> bool:  # type: ignore[override]
        """Whether layers are offset across the axis: a smooth taper has plane ends in any case."""
        return self.taper == "straight"

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest Z of the layers, mm."""
        return 0.0, self.length

    @cached_property
    def meridian(self) -> Meridian:
        """Inner face of the layers."""
        return tapered(self.low_radius, self.high_radius, self.length, self.taper)
