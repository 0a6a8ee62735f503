# SPDX-License-Identifier: MIT
"""Measures of a deformed shape: radii, length, profiles."""

from functools import cached_property

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.elements import shape_values
from annelid.geometry.inventory import inner_surface
from annelid.solver.readout.facet_pieces import facet_kind
from annelid.solver.readout.surface_weights import SurfaceWeights, radii
from annelid.solver.records import Profile

_SAME_HEIGHT = 6  # decimals of a mm
_MANY_STATIONS = 400
_ALONG = (0.0, 0.5 - 0.15**0.5, 0.5, 0.5 + 0.15**0.5, 1.0)  # nodes of an edge and Gauss's three points
_NEAR_AXIS = 0.02  # fraction of the largest radius below which r/R has no meaning


class RadialShape:
    """Radii, lengths and profiles of the deformed inner and outer surface.

    The mean and the sections of the radial expansion are integrals over the reference surface, the extremes
    those of its nodes.
    """

    def __init__(self, body: Body) -> None:
        self._body = body
        self._inner = SurfaceWeights(body, inner_surface(body))
        near_axis = self._inner.radius <= _NEAR_AXIS * self._inner.radius.max()
        self._counts = np.where(near_axis, 0.0, 1.0)
        self._sections: dict[float, FloatArray] = {}

    def expansion(self, displacement: FloatArray) -> FloatArray:
        """r/R - 1 at the nodes of the inner surface; not a number near the axis."""
        nodes = self._inner.nodes
        R = np.where(self._counts > 0, self._inner.radius, np.nan)
        return radii(self._body.points[nodes] + displacement[nodes]) / R - 1

    def mean(self, expansion: FloatArray) -> float:
        """Mean of values at the nodes of the inner surface over angle and height."""
        return _weighted(self._inner.over_height * self._counts, expansion)

    def section(self, expansion: FloatArray, height: float) -> float:
        """Mean of values at the nodes of the inner surface around the section at a reference height, mm."""
        if height not in self._sections:
            self._sections[height] = self._inner.at_height(height)
        return _weighted(self._sections[height] * self._counts, expansion)

    def largest_diameter(self, displacement: FloatArray) -> float:
        """Largest diameter of the deformed inner surface, mm."""
        nodes = self._inner.nodes
        return 2 * float(radii(self._body.points[nodes] + displacement[nodes]).max())

    @cached_property
    def _ends(self) -> list[SurfaceWeights]:
        names = [end for end in ("end_low", "end_high") if end in self._body.surfaces]
        return [SurfaceWeights(self._body, name) for name in names] if len(names) == 2 else []

    def length(self, displacement: FloatArray) -> float:
        """Distance between the mean heights of the ends, or the extent if there are no ends, mm."""
        heights = (self._body.points + displacement)[:, -1]
        if not self._ends:
            return float(np.ptp(heights))
        low, high = (float(end.area @ heights[end.nodes]) for end in self._ends)
        return high - low


def _weighted(weights: FloatArray, values: FloatArray) -> float:
    return float(np.nansum(weights * values) / weights.sum())


def profiles(body: Body, displacement: FloatArray) -> dict[str, Profile]:
    """Mean radius along the axis of the inner and outer surface, for figures and tables.

    Args:
        body: The drawn body.
        displacement: Shape of ``body.points``, mm.
    """
    surfaces = {"inner": inner_surface(body), "outer": "outer"}
    return {
        key: _profile(body, displacement, name) for key, name in surfaces.items() if name in body.surfaces
    }


def _profile(body: Body, displacement: FloatArray, surface: str) -> Profile:
    nodes = body.surface_nodes(surface)
    reference, current = body.points[nodes], body.points[nodes] + displacement[nodes]
    R, r = (radii(x) for x in (reference, current))
    keep = _NEAR_AXIS * R.max() < R
    height = np.round(reference[keep, -1], _SAME_HEIGHT)
    stations, which = np.unique(height, return_inverse=True)
    if len(stations) > _MANY_STATIONS:  # the first and the last one remain, the others are put into bins
        edges = np.linspace(stations[0], stations[-1], _MANY_STATIONS // 4 + 1)
        bins = np.clip(np.searchsorted(edges, height), 1, len(edges) - 1)
        bins[height == stations[-1]] = len(edges)
        bins[height == stations[0]] = 0
        _, which = np.unique(bins, return_inverse=True)

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(which, values) / np.bincount(which)

    return Profile(mean(reference[keep, -1]), mean(R[keep]), mean(r[keep]), mean(current[keep, -1]))


def surface_points(body: Body, displacement: FloatArray, surface: str) -> FloatArray:
    """Nodes of a named surface, and the points where forces act on it, now, shape (n, 2) or (n, 3), mm."""
    facets = (body.points + displacement)[body.facets[body.surfaces[surface]]]
    kind = facet_kind(facets)
    axes = np.meshgrid(*[_ALONG] * (1 if kind == "line3" else 2), indexing="ij")
    at = np.stack([axis.ravel() for axis in axes], axis=1)
    if kind == "triangle6":
        at = at[at.sum(axis=1) <= 1 + 1e-9]
    return np.einsum("qn,fnd->fqd", shape_values(kind, at), facets).reshape(-1, facets.shape[2])
