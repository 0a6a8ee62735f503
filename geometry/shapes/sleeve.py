# SPDX-License-Identifier: MIT
"""Layers bonded around a soft core."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from annelid.geometry.checks import within
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.meridian_profiles import straight
from annelid.geometry.shapes.shape import Layer, Shape


@dataclass(frozen=True)
class Sleeve(Shape):
    """Layers bonded around a soft organ or core (region ``core``).

    The core runs from Z = 0 to length + 2 core_overhang, the layers start at Z = core_overhang.

    Attributes:
        core_radius: Outer radius of the core, where the layers begin, mm.
        length: Length of the layers, mm.
        layers: Layers from inside to outside.
        core_inner_radius: 0 for a solid core that reaches the axis; otherwise the radius of its lumen, mm.
        core_overhang: How far the core extends beyond the layers at both ends, mm.

    Raises:
        InvalidValue: A length is outside its range, or names clash.
    """

    kind: ClassVar[str] = "sleeve"
    can_be_inflated: ClassVar[bool] = False

    core_radius: float
    length: float
    layers: tuple[Layer, ...]
    core_inner_radius: float = 0.0
    core_overhang: float = 0.0

    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""
        within("core_radius", self.core_radius, above=0.0, unit="mm")
        within("length", self.length, above=0.0, unit="mm")
        within(
            "core_inner_radius",
            self.core_inner_radius,
            least=0.0,
            below=self.core_radius,
            unit="mm",
            why="core_radius",
        )
        within("core_overhang", self.core_overhang, least=0.0, unit="mm")
        self.check_layers()

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest Z of the layers, mm."""
        return self.core_overhang, self.core_overhang + self.length

    @cached_property
    def meridian(self) -> Meridian:
        """Inner face of the layers."""
        return straight(self.core_radius, self.core_overhang, self.length)

    @property
    def core_length(self) -> float:
        """Length of the core, mm."""
        return self.length + 2 * self.core_overhang

    @property
    def open_tube(self) -> bool:
        """Whether the shape is empty: it has a core."""
        return False

    @property
    def has_lumen(self) -> bool:
        """Whether the core is hollow."""
        return self.core_inner_radius > 0

    @property
    def walls(self) -> tuple[str, ...]:
        """The layers, and a hollow core."""
        return (*(["core"] if self.has_lumen else []), *super().walls)

    def lumen_volume(self) -> float:
        """Volume of the core's lumen, mm³."""
        return math.pi * self.core_inner_radius**2 * self.core_length

    def extra_volumes(self) -> dict[str, float]:
        """Volume of the core, mm³."""
        area = math.pi * (self.core_radius**2 - self.core_inner_radius**2)
        return {"core": area * self.core_length}
