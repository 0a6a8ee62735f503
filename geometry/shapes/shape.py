# SPDX-License-Identifier: MIT
"""What all shapes share: layers, electrode bands, the meridian of the inner face, extents and volumes."""

import math
from abc import ABC, abstractmethod
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import ClassVar

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import RESERVED_REGIONS, one_of, unique, usable_name, within
from annelid.geometry.errors import Finding, InvalidValue, checking, raise_first
from annelid.geometry.shapes.meridian import Meridian

_GAUSS = 12  # points per piece of a meridian
_SAME = 1e-9  # fraction of a height within which two band edges are one


@dataclass(frozen=True)
class Layer:
    """One layer of a wall; its name is the name of a region of the body.

    Attributes:
        name: Region name.
        thickness: Thickness along the wall normal, mm.

    Raises:
        InvalidValue: The name cannot be used, or the thickness is not positive.
    """

    name: str
    thickness: float

    def __post_init__(self) -> None:
        with checking(f"layer '{self.name}'"):
            usable_name("name", self.name, reserved=RESERVED_REGIONS)
            within("thickness", self.thickness, above=0.0, unit="mm")


@dataclass(frozen=True)
class Band:
    """A ring electrode: one layer between two heights, or on a dome between two radii.

    Attributes:
        name: Band name; its faces become the surfaces ``<name>.inner`` and ``<name>.outer``.
        region: The layer it covers, through its whole thickness.
        low: Lower edge, height Z on the inner face of the wall, mm. On a dome, which may hardly rise, the
            edge nearer to the axis: its radius R on the inner face; 0 covers the pole.
        high: Upper edge, on a dome the edge farther from the axis, mm.

    Raises:
        InvalidValue: The name cannot be used, or ``low`` is not below ``high``.
    """

    name: str
    region: str
    low: float
    high: float

    def __post_init__(self) -> None:
        with checking(f"electrode '{self.name}'"):
            usable_name("name", self.name)
            within("to", self.high, above=self.low, unit="mm", why="from")


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
        """Thickness of all layers together, mm."""
        return sum(layer.thickness for layer in self.layers)

    @property
    def slenderness(self) -> float:
        """Largest radius of the inner face over the thickness of all layers."""
        radii = self.meridian.at(np.linspace(0.0, self.meridian.length, 200)).position[:, 0]
        return float(radii.max()) / self.thickness

    @property
    def bending_length(self) -> float:
        """Least sqrt(R t) along the wall, mm, with its radius of curvature R around the axis.

        The bending at an edge decays over this length: Timoshenko, Woinowsky-Krieger, Theory of Plates and
        Shells, 1959, chapter 15 (from memory).
        """
        position, _, normal, _, _ = self._sampled()
        with np.errstate(divide="ignore"):
            radius = position[:, 0] / np.abs(normal[:, 0])
        return float(math.sqrt(radius.min() * self.thickness))

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
            faces = np.concatenate([[0.0], np.cumsum([layer.thickness for layer in self.layers])])
            number = names.index(region)
            return self._layer_volume(float(faces[number]), float(faces[number + 1]))
        extra = self.extra_volumes()
        if region not in extra:
            raise InvalidValue(f"'{region}': this shape has {', '.join([*names, *extra])}", key="region")
        return extra[region]

    def _layer_volume(self, low: float, high: float) -> float:
        """Volume between two offsets from the inner face, mm³.

        By Pappus it is 2π times the integral of (R + t n_R) (1 + t κ) over arc length and t, exact in t.
        """
        position, _, normal, curvature, weight = self._sampled()
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

    def check_bands(self, bands: Sequence[Band]) -> None:
        """Raise InvalidValue unless bands are on layers, inside their range, and do not overlap."""
        unique("electrodes", [band.name for band in bands])
        raise_first(band_findings(bands, [layer.name for layer in self.layers], self.band_range))


def check_edges(start: float, end: float, edges: tuple[float, float]) -> None:
    """Raise InvalidValue unless ``start`` ("from") is below ``end`` ("to"), both within ``edges``, mm."""
    low, high = edges
    for key, edge in (("from", start), ("to", end)):
        if not math.isclose(edge, low if edge < low else high, abs_tol=_SAME * (high - low)):
            within(key, edge, least=low, most=high, unit="mm", why="where the layers are")
    within("to", end, above=start, unit="mm", why="from")


def band_findings(
    bands: Sequence[Band], layers: Sequence[str], edges: tuple[float, float]
) -> Iterator[Finding]:
    """Errors of bands that are not on layers, outside their range, or overlap.

    Args:
        bands: The bands.
        layers: Names of the layers.
        edges: Least and largest edge that a band may have, mm.
    """
    for index, band in enumerate(bands):
        try:
            with checking(f"electrode '{band.name}'"):
                one_of("region", band.region, layers, what="a layer of this shape")
                check_edges(band.low, band.high, edges)
        except InvalidValue as error:
            yield Finding(("electrodes", index), error)
    for layer in layers:
        ordered = sorted((i for i, b in enumerate(bands) if b.region == layer), key=lambda i: bands[i].low)
        for below, index in pairwise(ordered):
            first, second = bands[below], bands[index]
            if second.low < first.high - _SAME * abs(first.high):
                overlap = InvalidValue(
                    f"{second.low:g} mm overlaps electrode '{first.name}', which covers {first.low:g} to "
                    f"{first.high:g} mm of the same layer",
                    key="from",
                    subject=f"electrode '{second.name}'",
                    electrodes=(first.name, second.name),
                )
                yield Finding(("electrodes", index), overlap)
