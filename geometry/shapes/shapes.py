# SPDX-License-Identifier: MIT
"""The shapes a user can ask for, each a record of numbers in mm."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.checks import RESERVED_REGIONS, all_different, usable_name, within
from annelid.geometry.errors import InputError
from annelid.geometry.shapes.dome_meridian import arc_at_radius, dome_meridian, offset_frame
from annelid.geometry.shapes.meridian import Frame, Meridian

ENDS = ("open", "capped")


@dataclass(frozen=True)
class Layer:
    """One layer of a wall; its name names a region of the body.

    Attributes:
        name: Region name.
        thickness: Thickness along the wall normal, mm.

    Raises:
        InputError: If the name cannot be used or the thickness is not positive.
    """

    name: str
    thickness: float

    def __post_init__(self) -> None:
        usable_name("layer name", self.name, reserved=RESERVED_REGIONS)
        within(f"thickness of layer {self.name!r}", self.thickness, above=0.0, unit="mm")


@dataclass(frozen=True)
class Band:
    """A ring electrode: one layer between two heights, or on a dome between two radii.

    Attributes:
        name: Band name; its faces become the surfaces ``<name>.inner`` and ``<name>.outer``.
        region: The layer it covers, through its whole thickness.
        low: Lower edge, height Z on the inner face of the wall, mm. On a dome, which may hardly rise, the
            edge nearer the axis: its radius R on the inner face; 0 covers the pole.
        high: Upper edge, on a dome the edge farther from the axis, mm.

    Raises:
        InputError: If the name cannot be used or ``low`` is not below ``high``.
    """

    name: str
    region: str
    low: float
    high: float

    def __post_init__(self) -> None:
        usable_name("band name", self.name)
        within(
            f"lower edge of band {self.name!r}", self.low, below=self.high, unit="mm", why="its upper edge"
        )


@dataclass(frozen=True)
class Tube:
    """A straight tube of bonded layers, from Z = 0 to Z = length.

    Attributes:
        inner_radius: Radius of the lumen, mm.
        length: Length of the lumen, mm.
        layers: Layers from inside to outside.
        ends: ``"open"``, or ``"capped"``: solid discs of region ``cap``, as wide as the tube, are bonded to
            both end faces and close the lumen; they lie below Z = 0 and above Z = length.
        cap_thickness: Thickness of these discs, mm; the wall thickness if left out.

    Raises:
        InputError: If a length is not positive, or names clash.
    """

    inner_radius: float
    length: float
    layers: tuple[Layer, ...]
    ends: str = "open"
    cap_thickness: float | None = None

    def __post_init__(self) -> None:
        within("tube.inner_radius", self.inner_radius, above=0.0, unit="mm")
        within("tube.length", self.length, above=0.0, unit="mm")
        _check_layers(self.layers)
        if self.ends not in ENDS:
            raise InputError(f"tube.ends = {self.ends!r}: choose one of {', '.join(ENDS)}", ends=self.ends)
        if self.cap_thickness is not None:
            within("tube.cap_thickness", self.cap_thickness, above=0.0, unit="mm")
            if self.ends == "open":
                raise InputError(
                    f"tube.cap_thickness = {self.cap_thickness:g} mm: an open tube has no caps; say ends = "
                    "'capped' or leave it out",
                    cap_thickness=self.cap_thickness,
                )


@dataclass(frozen=True)
class Sleeve:
    """Layers bonded around a soft organ or core (region ``core``).

    The core runs from Z = 0 to length + 2 core_overhang, the layers from Z = core_overhang on.

    Attributes:
        core_radius: Outer radius of the core, where the layers begin, mm.
        length: Length of the layers, mm.
        layers: Layers from inside to outside.
        core_inner_radius: 0 for a solid core that reaches the axis; otherwise the radius of its lumen, mm.
        core_overhang: How far the core sticks out beyond the layers at both ends, mm.

    Raises:
        InputError: If a length is outside its range, or names clash.
    """

    core_radius: float
    length: float
    layers: tuple[Layer, ...]
    core_inner_radius: float = 0.0
    core_overhang: float = 0.0

    def __post_init__(self) -> None:
        within("sleeve.core_radius", self.core_radius, above=0.0, unit="mm")
        within("sleeve.length", self.length, above=0.0, unit="mm")
        within(
            "sleeve.core_inner_radius",
            self.core_inner_radius,
            least=0.0,
            below=self.core_radius,
            unit="mm",
            why="the radius of the core",
        )
        within("sleeve.core_overhang", self.core_overhang, least=0.0, unit="mm")
        _check_layers(self.layers)


@dataclass(frozen=True)
class Balloon:
    """A wall of layers on a curved meridian, offset outwards along its normal.

    Attributes:
        meridian: The inner face of the wall.
        layers: Layers from inside to outside.

    Raises:
        InputError: If names clash, or the wall is so thick that it would fold.
    """

    meridian: Meridian
    layers: tuple[Layer, ...]

    def __post_init__(self) -> None:
        _check_layers(self.layers)
        self.meridian.check_wall(sum(layer.thickness for layer in self.layers))


@dataclass(frozen=True)
class Dome:
    """A cap of revolution, shallow or deep, with or without a hole in its middle: a dome or funnel valve.

    Its inner face, on the hollow side below, runs from the rim (R = rim_radius, Z = 0, ring ``end_low``) up
    to the pole or to the edge of the hole (R = hole_radius, Z = rise, ring ``end_high``). The layers are
    offset outwards along the normal, so both rings stand at right angles to the wall. Bands and lines are
    given by radii. Where a dome may buckle, ``mesh.along`` should be at most a third of ``ripple_length``.

    Attributes:
        rim_radius: Radius of the inner face at the rim, mm.
        rise: Height of the inner face at the pole, or at the edge of the hole, above the rim, mm.
        layers: Layers from inside to outside.
        hole_radius: Radius of the hole in the inner face, mm; 0 for a closed dome.
        profile: ``"spherical"`` (up to a hemisphere), ``"parabolic"`` or ``"funnel"``, a straight cone.
        tip_radius: A funnel without a hole ends in a sphere of this radius (of the inner face), mm.

    Raises:
        InputError: If a length is outside its range, lengths and profile do not go together, or names clash.
    """

    rim_radius: float
    rise: float
    layers: tuple[Layer, ...]
    hole_radius: float = 0.0
    profile: str = "spherical"
    tip_radius: float = 0.0

    def __post_init__(self) -> None:
        _check_layers(self.layers)
        self.meridian  # noqa: B018 (checks the lengths)

    @cached_property
    def meridian(self) -> Meridian:
        """The inner face of the wall."""
        return dome_meridian(
            self.profile,
            self.rim_radius,
            self.rise,
            hole_radius=self.hole_radius,
            tip_radius=self.tip_radius,
        )

    @property
    def thickness(self) -> float:
        """Thickness of the wall, mm."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def ripple_length(self) -> float:
        """Least sqrt(R t) along the wall, mm: the length over which edge effects and buckles run.

        R is the radius of curvature around the axis, of the inner face; t the thickness of the wall.
        """
        arc = np.linspace(0.0, self.meridian.length, 200)
        frame = self.meridian.at(arc[: -1 if self.meridian.poles[1] else None])
        return float(np.sqrt(self.thickness * np.min(frame.position[:, 0] / frame.normal[:, 0])))

    def at_radius(self, radius: float, *, depth: float = 0.5) -> Frame:
        """Return the point of the wall at a radius: position, tangent, normal, curvature, one row each.

        Args:
            radius: Radius R of the point, mm.
            depth: Where in the wall, from 0 (inner face) over 0.5 (middle surface) to 1 (outer face).

        Raises:
            InputError: If the wall has no such radius at this depth.
        """
        within("depth", depth, least=0.0, most=1.0)
        offset = depth * self.thickness
        return offset_frame(
            self.meridian, arc_at_radius(self.meridian, radius, "radius", offset=offset), offset
        )


Shape = Tube | Sleeve | Balloon | Dome


def _check_layers(layers: tuple[Layer, ...]) -> None:
    if not layers:
        raise InputError("layers = []: give at least one layer, from inside to outside")
    all_different("layers", [layer.name for layer in layers])
