# SPDX-License-Identifier: MIT
"""Faces of the layers of a wall as cast: surfaces of revolution before the part is stretched and mounted.

A mounted face of radius r and arc length s has the radius h r and the arc length a s as cast, with the
natural stretches h around and a along the meridian. Its height follows from dz² = (a ds)² - (h dr)².
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.shapes.band import Band
from annelid.geometry.shapes.dome_meridian import arc_at_radius
from annelid.geometry.shapes.shape import Shape

__all__ = ["CastFace", "cast_face"]

_SAMPLES = 2001
_APART = 1e-7  # of the length: points nearer than this are one
_SAME = 1e-12  # relative difference of two stretches
_STEEP = 1e-9  # of the largest slope


@dataclass(frozen=True)
class CastFace:
    """A face of revolution as cast, at points along its meridian.

    Attributes:
        mounted: Arc length of each point along the inner face of the mounted wall, ascending, shape (k,), mm.
        points: Radius and height as cast, shape (k, 2), mm.
        outward: Motion of a point when the thickness as cast grows by 1, shape (k, 2): the unit normal, or
            the direction across the axis if the layers have plane ends.
        joints: Numbers of the points between both ends at which the meridian changes its formula.
    """

    mounted: FloatArray
    points: FloatArray
    outward: FloatArray
    joints: tuple[int, ...] = ()

    @property
    def radius(self) -> FloatArray:
        """Radius as cast, shape (k,), mm."""
        return self.points[:, 0]

    @cached_property
    def arc(self) -> FloatArray:
        """Arc length as cast from the low end, shape (k,), mm."""
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])

    def arc_at(self, mounted: float) -> float:
        """Arc length as cast at an arc length along the inner face of the mounted wall, mm."""
        return float(np.interp(mounted, self.mounted, self.arc))

    def radius_at(self, arc: FloatArray | float) -> FloatArray:
        """Radius at arc lengths as cast, mm."""
        return np.asarray(np.interp(arc, self.arc, self.radius))

    def area(self, low: float = 0.0, high: float = np.inf) -> float:
        """Area between two arc lengths as cast, mm²."""
        low, high = np.clip([low, high], 0.0, self.arc[-1])
        inside = self.arc[(self.arc > low) & (self.arc < high)]
        arc = np.concatenate([[low], inside, [high]])
        return float(2 * np.pi * np.trapezoid(self.radius_at(arc), arc))

    def offset(self, thickness: float) -> FloatArray:
        """Radius and height of the parallel face at a distance as cast, shape (k, 2), mm."""
        return self.points + thickness * self.outward


def cast_face(shape: Shape, depth: float, hoop: float, axial: float) -> CastFace:
    """Return a face of a wall as cast.

    Args:
        shape: The mounted shape.
        depth: Distance of the face from the inner face of the mounted wall, mm.
        hoop: Natural stretch around (size as cast over mounted size).
        axial: Natural stretch along the meridian.

    Raises:
        InvalidValue: No surface of revolution has these stretches.
    """
    meridian = shape.meridian
    arc = np.union1d(np.linspace(0.0, meridian.length, _SAMPLES), meridian.arcs(meridian.knots))
    arc = arc[np.append(True, np.diff(arc) > _APART * meridian.length)]
    joints = tuple(int(np.argmin(np.abs(arc - knot))) for knot in meridian.arcs(meridian.knots)[1:-1])
    frame = meridian.at(arc)
    outward = frame.normal
    if shape.plane_ends:
        outward = np.column_stack([1 / frame.normal[:, 0], np.zeros(len(arc))])
    mounted = frame.position + depth * outward
    if abs(hoop - axial) < _SAME:
        return CastFace(arc, hoop * mounted, outward, joints)
    if np.ptp(mounted[:, 0]) < _SAME * mounted[:, 0].max():
        return CastFace(arc, mounted * [hoop, axial], outward, joints)
    points = _stretched(mounted, hoop, axial)
    tangent = np.gradient(points, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    normal = np.column_stack([tangent[:, 1], -tangent[:, 0]])
    if shape.plane_ends:
        normal = np.column_stack([1 / normal[:, 0], np.zeros(len(arc))])
    return CastFace(arc, points, normal, joints)


def _stretched(mounted: FloatArray, hoop: float, axial: float) -> FloatArray:
    """Radius and height as cast, with different stretches around and along."""
    step = np.diff(mounted, axis=0)
    along, across = axial * np.linalg.norm(step, axis=1), hoop * step[:, 0]
    rise = along**2 - across**2
    if rise.min() < -_STEEP * np.max(along**2):
        raise InvalidValue(
            f"no surface of revolution as cast becomes this wall with a pre-stretch of {1 / hoop:.4g} around "
            f"and {1 / axial:.4g} along it, because the wall is too steep towards the axis: make both equal",
            key="natural_stretch",
        )
    height = np.concatenate([[0.0], np.cumsum(np.copysign(np.sqrt(np.maximum(rise, 0.0)), step[:, 1]))])
    return np.column_stack([hoop * mounted[:, 0], height])


def band_arcs(shape: Shape, band: Band) -> tuple[float, float]:
    """Return the arc lengths along the inner face of the mounted wall at the edges of a band, mm."""
    meridian = shape.meridian
    if shape.bands_by_radius:
        edges = [arc_at_radius(meridian, radius, "from") for radius in (band.low, band.high)]
    else:
        edges = [meridian.arc_at_height(height, "from") for height in (band.low, band.high)]
    return min(edges), max(edges)
