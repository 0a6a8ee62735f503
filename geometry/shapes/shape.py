# SPDX-License-Identifier: MIT
"""What all shapes share: layers, the meridian of the inner face, extents and volumes."""

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import RESERVED_REGIONS, unique, usable_name, within
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.thickness_map import ThicknessMap

_GAUSS = 12  # points per piece of a meridian
_ANGLES = 144  # at which a layer that is uneven around is integrated


@dataclass(frozen=True)
class Layer:
    """One layer of a wall; its name is the name of a region of the body.

    Attributes:
        name: Region name.
        thickness: Thickness along the wall normal, mm; the mean of an uneven layer.
        uneven: Its thickness from place to place, if it is not the same everywhere.

    Raises:
        InvalidValue: The name cannot be used, or the thickness is not positive.
    """

    name: str
    thickness: float
    uneven: ThicknessMap | None = None

    def __post_init__(self) -> None:
        with checking(f"layer '{self.name}'"):
            usable_name("name", self.name, reserved=RESERVED_REGIONS)
            within("thickness", self.thickness, above=0.0, unit="mm")

    @property
    def thinnest(self) -> float:
        """Least thickness, mm."""
        return self.thickness if self.uneven is None else self.uneven.least

    @property
    def thickest(self) -> float:
        """Largest thickness, mm."""
        return self.thickness if self.uneven is None else self.uneven.most

    def at(self, place: FloatArray, angle: FloatArray) -> FloatArray:
        """Thickness at places along the wall in mm and angles in rad, both of shape (m,), mm."""
        if self.uneven is None:
            return np.full(len(place), self.thickness)
        return self.uneven.at(place, angle)


def layer_faces(layers: Sequence[Layer], place: FloatArray, angle: FloatArray) -> FloatArray:
    """Distances of the faces of layers from the inner face, shape (m, layers + 1), mm.

    Args:
        layers: From inside to outside.
        place: Heights, on a dome radii, of the inner face, shape (m,), mm.
        angle: Angles about the axis, shape (m,), rad.
    """
    return np.cumsum([np.zeros(len(place)), *(layer.at(place, angle) for layer in layers)], axis=0).T


class Shape(ABC):
    """A wall of bonded layers of revolution about the Z axis, lengths in mm.

    Attributes:
        layers: Layers from inside to outside.
        kind: Name of the shape in case files.
        bands_by_radius: Whether edges of bands are radii of the inner face instead of heights.
        can_be_inflated: Whether the wall by itself is a skin that can be inflated.
        is_arch: Whether the wall is meant to carry compression, as a dome does.
        plane_ends: Whether layers are offset across the axis, so that their ends are plane, instead of
            along the normal of the meridian.
    """

    kind: ClassVar[str]
    bands_by_radius: ClassVar[bool] = False
    can_be_inflated: ClassVar[bool] = True
    is_arch: ClassVar[bool] = False
    plane_ends: ClassVar[bool] = False

    layers: tuple[Layer, ...]

    def __post_init__(self) -> None:
        with checking(self.kind):
            self.check()

    @abstractmethod
    def check(self) -> None:
        """Raise InvalidValue unless the values are allowed."""

    @property
    @abstractmethod
    def meridian(self) -> Meridian:
        """Inner face of the layers."""

    def with_layers(self, layers: tuple[Layer, ...]) -> "Shape":
        """The same shape with other layers on its inner face."""
        return replace(self, layers=layers)  # type: ignore[type-var]

    @property
    def thickness(self) -> float:
        """Thickness of all layers together, mm; the mean of uneven layers."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def thickest(self) -> float:
        """Largest thickness of all layers together, at most, mm."""
        return sum(layer.thickest for layer in self.layers)

    @property
    def thinnest(self) -> float:
        """Least thickness of all layers together, at least, mm."""
        return sum(layer.thinnest for layer in self.layers)

    @property
    def uneven(self) -> bool:
        """Whether a layer has a thickness that differs from place to place."""
        return any(layer.uneven is not None for layer in self.layers)

    def places(self, position: FloatArray) -> FloatArray:
        """Places of points R, Z of the inner face in maps of the thickness: heights or radii, mm."""
        return position[:, 0 if self.bands_by_radius else 1]

    @property
    def slenderness(self) -> float:
        """Largest radius of the inner face over the least thickness of all layers."""
        radii = self.meridian.at(np.linspace(0.0, self.meridian.length, 200)).position[:, 0]
        return float(radii.max()) / self.thinnest

    @property
    def bending_length(self) -> float:
        """Least sqrt(R t) along the wall, mm, with its radius of curvature R around the axis.

        The bending at an edge decays over this length: Timoshenko, Woinowsky-Krieger, Theory of Plates and
        Shells, 1959, chapter 15 (from memory).
        """
        position, _, normal, _, _ = self._sampled()
        with np.errstate(divide="ignore"):
            radius = position[:, 0] / np.abs(normal[:, 0])
        return float(math.sqrt(radius.min() * self.thinnest))

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest Z of the inner face of the layers, mm."""
        heights = self.meridian.at(np.array([0.0, self.meridian.length])).position[:, 1]
        return float(heights[0]), float(heights[1])

    @property
    def band_range(self) -> tuple[float, float]:
        """Least and largest edge that a band may have: heights or radii of the inner face, mm."""
        return self.extent

    @property
    def open_tube(self) -> bool:
        """Whether the shape is empty and open at both ends."""
        return not any(self.meridian.poles)

    @property
    def has_lumen(self) -> bool:
        """Whether there is an inner surface that a fluid wets."""
        return True

    @property
    def has_open_ends(self) -> bool:
        """Whether there is a lumen that is open at both ends."""
        return self.has_lumen and not any(self.meridian.poles)

    @property
    def walls(self) -> tuple[str, ...]:
        """Regions that have an inner and an outer face."""
        return tuple(layer.name for layer in self.layers)

    def extra_volumes(self) -> dict[str, float]:
        """Volumes of regions that are no layer, such as a core or caps, mm³."""
        return {}

    def lumen_volume(self) -> float:
        """Volume enclosed, between the planes of its ends where these are open: ∫ π R² dZ, mm³."""
        position, tangent, _, _, weight = self._sampled()
        return float(math.pi * np.sum(weight * position[:, 0] ** 2 * tangent[:, 1]))

    def region_volume(self, region: str) -> float:
        """Volume of a layer, core or cap, mm³.

        Raises:
            InvalidValue: The shape has no such region.
        """
        names = [layer.name for layer in self.layers]
        if region in names:
            number = names.index(region)
            around = any(layer.uneven and not layer.uneven.all_around for layer in self.layers)
            angles = 2 * math.pi * np.arange(_ANGLES if around else 1) / _ANGLES
            return float(np.mean([self._layer_volume(number, angle) for angle in angles]))
        extra = self.extra_volumes()
        if region not in extra:
            raise InvalidValue(f"'{region}': this shape has {', '.join([*names, *extra])}", key="region")
        return extra[region]

    def _layer_volume(self, number: int, angle: float) -> float:
        """Volume of a layer as thick all around as at one angle, mm³.

        By Pappus it is 2π times the integral of (R + t n_R) (1 + t κ) over arc length and t, exact in t.
        """
        position, _, normal, curvature, weight = self._sampled()
        faces = layer_faces(self.layers, self.places(position), np.full(len(position), angle))
        low, high = faces[:, number], faces[:, number + 1]
        radius, outward = position[:, 0], normal[:, 0]
        first = (high - low) * radius
        if self.plane_ends:  # offset across the axis by t / n_R, over dZ = n_R ds
            return float(2 * math.pi * np.sum(weight * (first + (high**2 - low**2) / (2 * outward))))
        second = (high**2 - low**2) / 2 * (outward + curvature * radius)
        third = (high**3 - low**3) / 3 * curvature * outward
        return float(2 * math.pi * np.sum(weight * (first + second + third)))

    def _sampled(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        """Position, tangent, normal, curvature and Gauss weights along the meridian."""
        meridian = self.meridian
        nodes, weights = np.polynomial.legendre.leggauss(_GAUSS)
        panels = max(4, 40 // (len(meridian.knots) - 1))
        bounds = meridian.arcs(meridian.knots)
        pieces = np.concatenate([np.linspace(a, b, panels + 1)[:-1] for a, b in pairwise(bounds)])
        half = np.diff(np.append(pieces, meridian.length)) / 2
        arc = ((pieces + half)[:, None] + half[:, None] * nodes).ravel()
        frame = meridian.at(arc)
        return (*frame, (half[:, None] * weights).ravel())

    def check_layers(self) -> None:
        """Raise InvalidValue unless there are layers with different names."""
        if not self.layers:
            raise InvalidValue("must hold at least one layer, from inside to outside", key="layers")
        unique("layers", [layer.name for layer in self.layers])
