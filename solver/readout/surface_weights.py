# SPDX-License-Identifier: MIT
"""Means of nodal values over a surface of the reference shape, as weights of its nodes."""

from functools import cached_property
from typing import NamedTuple

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import shape_gradients, shape_values
from annelid.solver.readout.facet_pieces import facet_kind, pieces_of

_GAUSS, _GAUSS_WEIGHTS = np.polynomial.legendre.leggauss(3)
_FLAT = 1e-9  # smallest part of an area that is seen along the radius
_OFF_PLANE = 1e-10  # of the height of a surface: a section lies this far off a plane of nodes


class SurfaceWeights:
    """Linear functionals of nodal values on a named surface: areas, heights and sections of the whole part.

    The values are taken as quadratic on each facet. All weights are those of the reference shape.

    Attributes:
        nodes: Sorted nodes of the surface; weights refer to them.
        radius: Radius of these nodes, mm.
    """

    def __init__(self, body: Body, surface: str) -> None:
        self._facets = body.facets[body.facet_numbers(surface)]
        self.nodes: IntArray = np.unique(self._facets)
        points = body.points[self.nodes]
        self.radius = radii(points)
        self._height = points[:, -1]
        self._local = np.searchsorted(self.nodes, self._facets)
        self._points = points[self._local]  # (facets, nodes, dim)
        self._normal = body.normal[self._facets]

    @cached_property
    def area(self) -> FloatArray:
        """Weights of the mean over the area."""
        area_vector, values = self._quadrature()
        return self._gathered(np.linalg.norm(area_vector, axis=-1), values)

    @cached_property
    def over_height(self) -> FloatArray:
        """Weights of the mean over angle and height, dθ dZ = N·e_R dA / R; on flat surfaces ``area``."""
        area_vector, values = self._quadrature()
        position = np.einsum("qn,fnd->fqd", values, self._points)
        radius = np.maximum(radii(position), 1e-9 * self.radius.max())
        outward = np.einsum("qn,fnd->fqd", values, self._normal)
        sign = np.sign((area_vector * outward).sum(axis=(1, 2)))[:, None]
        across = sign * (area_vector[..., :-1] * position[..., :-1]).sum(axis=-1) / radius**2
        if abs(across.sum()) <= _FLAT * np.abs(area_vector / radius[..., None]).sum():
            return self.area
        return self._gathered(across, values)

    def at_height(self, height: float) -> FloatArray:
        """Weights of the mean around the section at a height of the surface, mm."""
        low, high = self._height.min(), self._height.max()
        margin = _OFF_PLANE * (high - low)
        plane = float(np.clip(height, low + margin, high - margin))
        if np.abs(plane - self._height).min() < margin / 2:
            plane += margin if plane < (low + high) / 2 else -margin
        weights = np.zeros(len(self.nodes))
        for crossing in _crossings(self._points, plane):
            nodes = self._local[crossing.facets]
            np.add.at(weights, nodes, crossing.angle[:, None] * crossing.values)
        return weights / weights.sum()

    def _quadrature(self) -> tuple[FloatArray, FloatArray]:
        """Area vectors by 2π on a meridian times quadrature weights, (f, q, dim), and shape functions."""
        kind = facet_kind(self._facets)
        at, weights = _rule(kind)
        values, gradients = shape_values(kind, at), shape_gradients(kind, at)
        tangents = np.einsum("qna,fnd->fqad", gradients, self._points)
        if self._points.shape[2] == 2:
            position = np.einsum("qn,fnd->fqd", values, self._points)
            along = tangents[:, :, 0]
            vector = np.stack([along[..., 1], -along[..., 0]], axis=-1) * position[..., :1]
        else:
            vector = np.cross(tangents[:, :, 0], tangents[:, :, 1])
        return vector * weights[:, None], values

    def _gathered(self, measure: FloatArray, values: FloatArray) -> FloatArray:
        weights = np.zeros(len(self.nodes))
        np.add.at(weights, self._local, measure @ values)
        return weights / weights.sum()


def radii(points: FloatArray) -> FloatArray:
    """Distance from the axis of points (..., 2) of the meridian plane or (..., 3)."""
    return points[..., 0] if points.shape[-1] == 2 else np.hypot(points[..., 0], points[..., 1])


def _rule(kind: str) -> tuple[FloatArray, FloatArray]:
    """Quadrature of degree 5 on the reference facet."""
    x, w = (_GAUSS + 1) / 2, _GAUSS_WEIGHTS / 2
    if kind == "line3":
        return x[:, None], w
    X, Y = (a.ravel() for a in np.meshgrid(x, x, indexing="ij"))
    weights = np.outer(w, w).ravel()
    if kind == "quad9":
        return np.stack([X, Y], axis=1), weights
    return np.stack([X, Y * (1 - X)], axis=1), weights * (1 - X)  # the square collapsed to a triangle


class _Crossing(NamedTuple):
    """Points in which edges of straight pieces of facets cross a plane.

    Attributes:
        values: Shape functions of the facets there, shape (k, nodes).
        facets: Their facets, shape (k,).
        angle: Half the angle of the piece, or 1 in a meridian plane, shape (k,).
    """

    values: FloatArray
    facets: IntArray
    angle: FloatArray


def _crossings(points: FloatArray, plane: float) -> list[_Crossing]:
    """The crossings of facets (f, nodes, dim) with a plane normal to the axis, each piece's ends in turn."""
    kind = facet_kind(points)
    at, pieces = pieces_of(kind)
    values = shape_values(kind, at)
    near = np.flatnonzero((points[..., -1].min(axis=1) <= plane) & (points[..., -1].max(axis=1) >= plane))
    heights = (points[near, :, -1] @ values.T)[:, pieces]  # (facets, pieces, corners)
    edges = [(0, 1)] if kind == "line3" else [(0, 1), (1, 2), (2, 0)]
    crossed = np.stack([(heights[..., i] > plane) != (heights[..., j] > plane) for i, j in edges], axis=-1)
    facet, piece, edge = np.nonzero(crossed)  # the two crossings of a triangle follow each other
    first, second = np.array(edges)[edge].T
    low, high = heights[facet, piece, first], heights[facet, piece, second]
    t = ((plane - low) / (high - low))[:, None]
    there = shape_values(kind, (1 - t) * at[pieces[piece, first]] + t * at[pieces[piece, second]])
    if kind == "line3":
        return [_Crossing(there, near[facet], np.ones(len(facet)))]
    position = np.einsum("kn,knd->kd", there, points[near[facet]])
    θ = np.arctan2(position[:, 1], position[:, 0])
    angle = np.abs((θ[1::2] - θ[::2] + np.pi) % (2 * np.pi) - np.pi) / 2
    return [_Crossing(there[end::2], near[facet[end::2]], angle) for end in (0, 1)]
