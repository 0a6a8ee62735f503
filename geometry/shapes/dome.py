# SPDX-License-Identifier: MIT
"""A cap or funnel of revolution, as of a valve."""

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from annelid.geometry.checks import within
from annelid.geometry.shapes.dome_meridian import arc_at_radius, dome_meridian, offset_frame
from annelid.geometry.shapes.meridian import Frame, Meridian
from annelid.geometry.shapes.shape import Layer, Shape


@dataclass(frozen=True)
class Dome(Shape):
    """A cap of revolution, shallow or deep, with or without a hole in its middle: a dome or funnel valve.

    Its inner face, on the hollow side below, runs from the rim (R = rim_radius, Z = 0, ring ``end_low``) up
    to the pole or to the edge of the hole (R = hole_radius, Z = rise, ring ``end_high``). The layers are
    offset outwards along the normal, so both rings are at right angles to the wall. Bands and lines are
    given by radii. Where a dome may buckle, ``mesh.along`` should be at most a third of ``ripple_length``.

    Attributes:
        rim_radius: Radius of the inner face at the rim, mm.
        rise: Height of the inner face at the pole, or at the edge of the hole, above the rim, mm.
        layers: Layers from inside to outside.
        hole_radius: Radius of the hole in the inner face, mm; 0 for a closed dome.
        profile: ``"spherical"`` (up to a hemisphere), ``"parabolic"`` or ``"funnel"``, a straight cone.
        tip_radius: A funnel without a hole ends in a sphere of this radius (of the inner face), mm.

    Raises:
        InvalidValue: A length is outside its range, lengths and profile do not fit together, or names clash.
    """

    kind: ClassVar[str] = "dome"
    bands_by_radius: ClassVar[bool] = True
    is_arch: ClassVar[bool] = True

    rim_radius: float
    rise: float
    layers: tuple[Layer, ...]
    hole_radius: float = 0.0
    profile: str = "spherical"
    tip_radius: float = 0.0

    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""
        self.check_layers()
        self.meridian  # noqa: B018 (checks the lengths)

    @cached_property
    def meridian(self) -> Meridian:
        """Inner face of the wall."""
        return dome_meridian(
            self.profile,
            self.rim_radius,
            self.rise,
            hole_radius=self.hole_radius,
            tip_radius=self.tip_radius,
        )

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest Z of the inner face, mm."""
        return 0.0, self.rise

    @property
    def band_range(self) -> tuple[float, float]:
        """Least and largest radius that a band may have, mm."""
        return self.hole_radius, self.rim_radius

    @property
    def open_tube(self) -> bool:
        """Whether the shape is a tube: it is a cap."""
        return False

    @property
    def ripple_length(self) -> float:
        """Least sqrt(R t) along the wall, mm: the length over which edge effects and buckles run.

        R is the radius of curvature around the axis, of the inner face; t the (least) thickness of the wall.
        """
        arc = np.linspace(0.0, self.meridian.length, 200)
        frame = self.meridian.at(arc[: -1 if self.meridian.poles[1] else None])
        return float(np.sqrt(self.thinnest * np.min(frame.position[:, 0] / frame.normal[:, 0])))

    def at_radius(self, radius: float, *, depth: float = 0.5) -> Frame:
        """Return the point of the wall at a radius: position, tangent, normal, curvature, one row each.

        Args:
            radius: Radius R of the point, mm.
            depth: Where in the wall, from 0 (inner face) over 0.5 (middle surface) to 1 (outer face).

        Raises:
            InvalidValue: The wall has no such radius at this depth.
        """
        within("depth", depth, least=0.0, most=1.0)
        offset = depth * self.thickness
        return offset_frame(
            self.meridian, arc_at_radius(self.meridian, radius, "radius", offset=offset), offset
        )
