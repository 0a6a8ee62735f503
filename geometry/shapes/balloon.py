# SPDX-License-Identifier: MIT
"""A wall on a given meridian."""

from dataclasses import dataclass
from typing import ClassVar

from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.shape import Layer, Shape


@dataclass(frozen=True)
class Balloon(Shape):
    """A wall of layers on a curved meridian, offset outwards along its normal.

    Attributes:
        inner_face: Meridian of the inner face of the wall.
        layers: Layers from inside to outside.

    Raises:
        InvalidValue: Names clash, or the wall is so thick that it would fold.
    """

    kind: ClassVar[str] = "balloon"

    inner_face: Meridian
    layers: tuple[Layer, ...]

    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""
        self.check_layers()
        self.meridian.check_wall(self.thickest)

    @property
    def meridian(self) -> Meridian:
        """Inner face of the layers."""
        return self.inner_face
