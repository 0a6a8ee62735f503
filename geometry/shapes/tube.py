# SPDX-License-Identifier: MIT
"""A straight tube of bonded layers, open or closed by caps."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from annelid.geometry.checks import one_of, within
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import straight
from annelid.geometry.shapes.shape import Layer, Shape, layer_faces

ENDS = ("open", "capped")

_ANGLES = 144  # at which the rim of a cap is integrated


@dataclass(frozen=True)
class Tube(Shape):
    """A straight tube of bonded layers, from Z = 0 to Z = length.

    Attributes:
        inner_radius: Radius of the lumen, mm.
        length: Length of the lumen, mm.
        layers: Layers from inside to outside.
        ends: ``"open"``, or ``"capped"``: solid discs of region ``cap``, as wide as the tube, are bonded to
            both end faces and close the lumen; they are below Z = 0 and above Z = length.
        cap_thickness: Thickness of these discs, mm; the (mean) wall thickness if left out.

    Raises:
        InvalidValue: A length is not positive, or names clash.
    """

    kind: ClassVar[str] = "tube"

    inner_radius: float
    length: float
    layers: tuple[Layer, ...]
    ends: str = "open"
    cap_thickness: float | None = None

    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""
        within("inner_radius", self.inner_radius, above=0.0, unit="mm")
        within("length", self.length, above=0.0, unit="mm")
        self.check_layers()
        one_of("ends", self.ends, ENDS)
        if self.cap_thickness is not None:
            within("cap_thickness", self.cap_thickness, above=0.0, unit="mm")
            if self.ends == "open":
                text = "an open tube has no caps: set ends = 'capped', or leave it out"
                raise InvalidValue(text, key="cap_thickness")

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest Z of the layers, mm."""
        return 0.0, self.length

    @cached_property
    def meridian(self) -> Meridian:
        """Inner face of the layers."""
        return straight(self.inner_radius, 0.0, self.length)

    @property
    def open_tube(self) -> bool:
        """Whether the tube has no caps."""
        return self.ends == "open"

    @property
    def has_open_ends(self) -> bool:
        """Whether the tube has no caps."""
        return self.open_tube

    @property
    def cap(self) -> float:
        """Thickness of the caps, if there are any, mm."""
        return self.cap_thickness or self.thickness

    def extra_volumes(self) -> dict[str, float]:
        """Volume of both caps together, mm³."""
        if self.ends == "open":
            return {}
        angle = np.repeat(2 * math.pi * np.arange(_ANGLES) / _ANGLES, 2)
        wall = layer_faces(self.layers, np.tile(self.extent, _ANGLES), angle)[:, -1]
        return {"cap": 2 * math.pi * float(np.mean((self.inner_radius + wall) ** 2)) * self.cap}
