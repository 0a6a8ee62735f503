# SPDX-License-Identifier: MIT
"""Volumes by formula, against which meshes are checked."""

import math
from itertools import pairwise

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.shapes.meridian import Meridian
from annelid.geometry.shapes.shapes import Balloon, Dome, Shape, Sleeve, Tube

_GAUSS = 12  # points per piece of a meridian


def lumen_volume(shape: Shape) -> float:
    """Return the volume that a shape encloses, between the planes of its ends where these are open, mm^3.

    Tube: pi a^2 L. Balloon, dome: the integral of pi R^2 dZ along the meridian. A solid sleeve encloses
    nothing.
    """
    if isinstance(shape, Tube):
        return math.pi * shape.inner_radius**2 * shape.length
    if isinstance(shape, Sleeve):
        return math.pi * shape.core_inner_radius**2 * (shape.length + 2 * shape.core_overhang)
    position, tangent, _, _, weight = _sampled(shape.meridian)
    return float(math.pi * np.sum(weight * position[:, 0] ** 2 * tangent[:, 1]))


def region_volume(shape: Shape, region: str) -> float:
    """Return the volume of a layer, core or cap, mm^3.

    The layer of a balloon or dome between the offsets t1 and t2 from the meridian has, by Pappus, the volume
    2 pi times the integral of (R + t n_R) (1 + t kappa) over arc length and t, taken exactly in t.

    Raises:
        InputError: If the shape has no such region.
    """
    names = [layer.name for layer in shape.layers]
    if region in names:
        number = names.index(region)
        low = sum(layer.thickness for layer in shape.layers[:number])
        return _layer_volume(shape, low, low + shape.layers[number].thickness)
    if region == "cap" and isinstance(shape, Tube) and shape.ends == "capped":
        wall = sum(layer.thickness for layer in shape.layers)
        return 2 * math.pi * (shape.inner_radius + wall) ** 2 * (shape.cap_thickness or wall)
    if region == "core" and isinstance(shape, Sleeve):
        area = math.pi * (shape.core_radius**2 - shape.core_inner_radius**2)
        return area * (shape.length + 2 * shape.core_overhang)
    raise InputError(f"region {region!r}: this shape has {', '.join(names)}", region=region)


def _layer_volume(shape: Shape, low: float, high: float) -> float:
    if isinstance(shape, Balloon | Dome):
        position, _, normal, curvature, weight = _sampled(shape.meridian)
        radius, outward = position[:, 0], normal[:, 0]
        first = (high - low) * radius
        second = (high**2 - low**2) / 2 * (outward + curvature * radius)
        third = (high**3 - low**3) / 3 * curvature * outward
        return float(2 * math.pi * np.sum(weight * (first + second + third)))
    base = shape.inner_radius if isinstance(shape, Tube) else shape.core_radius
    return math.pi * ((base + high) ** 2 - (base + low) ** 2) * shape.length


def _sampled(meridian: Meridian) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return position, tangent, normal, curvature and Gauss weights along a meridian."""
    nodes, weights = np.polynomial.legendre.leggauss(_GAUSS)
    panels = max(4, 40 // (len(meridian.knots) - 1))
    bounds = meridian.arcs(meridian.knots)
    pieces = np.concatenate([np.linspace(a, b, panels + 1)[:-1] for a, b in pairwise(bounds)])
    half = np.diff(np.append(pieces, meridian.length)) / 2
    arc = ((pieces + half)[:, None] + half[:, None] * nodes).ravel()
    frame = meridian.at(arc)
    return frame.position, frame.tangent, frame.normal, frame.curvature, (half[:, None] * weights).ravel()
