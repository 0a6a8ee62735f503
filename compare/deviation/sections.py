# SPDX-License-Identifier: MIT
"""Cross-sections of a scan: radius, centre, ovality, and the bend of the line of their centres."""

from typing import NamedTuple

import numpy as np

from annelid.compare.deviation.radius_field import RadiusField, polar
from annelid.geometry.body import FloatArray, IntArray

_ROUNDS = 8
_TUKEY = 4.685
_FEWEST = 12  # points of a section
PARTS = 8  # of the circumference, of which all but two must have points
_SPARSE = 0.1  # of an even share of the points; a part with fewer has none but outliers


class Sections(NamedTuple):
    """Sections at k heights; ``nan`` where the scan has too little of a section.

    Attributes:
        height: Shape (k,), mm.
        radius: Mean radius, shape (k,), mm.
        centre: Shape (k, 2), mm.
        oval: Amplitudes of cos 2θ and sin 2θ of the radius about the centre, shape (k, 2), mm.
        number: Number of points, shape (k,).
    """

    height: FloatArray
    radius: FloatArray
    centre: FloatArray
    oval: FloatArray
    number: IntArray

    @property
    def ovality(self) -> FloatArray:
        """Largest less smallest diameter of the section without its finer waves, shape (k,), mm."""
        return np.asarray(4.0 * np.linalg.norm(self.oval, axis=1))

    def eccentricity(self, nominal: "Sections") -> FloatArray:
        """Distance of the centres from those of the nominal sections, shape (k,), mm."""
        return np.asarray(np.linalg.norm(self.centre - nominal.centre, axis=1))

    @property
    def bend(self) -> float:
        """Largest distance of the centres from the straight line through the first and the last, mm."""
        known = np.isfinite(self.radius)
        if known.sum() < 3:
            return float("nan")
        line = np.column_stack([self.centre, self.height])[known]
        chord = (line[-1] - line[0]) / np.linalg.norm(line[-1] - line[0])
        return float(np.linalg.norm(np.cross(line - line[0], chord), axis=1).max())


class SectionFit(NamedTuple):
    """The last step of the fit of n points to k sections.

    Attributes:
        used: Numbers of the points that belong to a section, shape (n,).
        section: Section of each of them, shape (n,).
        part: Eighth of the circumference that each is in, shape (n,).
        columns: Derivatives of the radius by the five terms, shape (n, 5).
        radius: Distance of each point, carried to the height of its section, from the centre, shape (n,), mm.
        weight: Weight of the kernel, shape (n,).
        terms: Mean radius, shift of the centre, and amplitudes of cos 2θ and sin 2θ, shape (k, 5), mm.
        centre: Centres before this shift, shape (k, 2), mm.
    """

    used: IntArray
    section: IntArray
    part: IntArray
    columns: FloatArray
    radius: FloatArray
    weight: FloatArray
    terms: FloatArray
    centre: FloatArray


def fitted_sections(points: FloatArray, heights: FloatArray, field: RadiusField) -> Sections:
    """Fit r = R + a cos 2θ + b sin 2θ about the centre of each section, with Tukey's kernel.

    All points within half the distance to the next height belong to a section; the slope of the nominal
    surface carries them to its height.

    Args:
        points: Aligned points, shape (n, 3), mm.
        heights: Shape (k,), mm, evenly spaced, the outermost half a step or more inside the ends.
        field: The nominal radius.
    """
    fit = section_fit(points, heights, field)
    number = np.bincount(fit.section, minlength=len(heights))
    inside = np.bincount(fit.section * PARTS + fit.part, minlength=len(heights) * PARTS)
    return sections_of(heights, fit.terms, fit.centre, number, inside.reshape(-1, PARTS))


def section_fit(points: FloatArray, heights: FloatArray, field: RadiusField) -> SectionFit:
    """Fit sections; arguments as for ``fitted_sections``."""
    section = section_numbers(points, heights)
    used = np.flatnonzero((section >= 0) & (section < len(heights)))
    points, section = points[used], section[used]
    angle = polar(points)[1]
    xy = carried(points, heights[section], field)
    centre, terms, robust = np.zeros((len(heights), 2)), np.zeros((len(heights), 5)), np.ones(len(points))
    for _ in range(_ROUNDS):
        centre = centre + terms[:, 1:3]
        off = xy - centre[section]
        r, θ = np.hypot(off[:, 0], off[:, 1]), np.arctan2(off[:, 1], off[:, 0])
        columns = np.column_stack([np.ones_like(θ), np.cos(θ), np.sin(θ), np.cos(2 * θ), np.sin(2 * θ)])
        terms = _least_squares(columns, r, robust, section, len(heights))
        residual = r - np.einsum("nj,nj->n", columns, terms[section])
        weights, robust = robust, _tukey(residual, section, len(heights))
    eighth = np.floor((angle / (2.0 * np.pi) + 0.5) * PARTS).astype(np.int64) % PARTS
    return SectionFit(used, section, eighth, columns, r, weights, terms, centre)


def section_numbers(points: FloatArray, heights: FloatArray) -> IntArray:
    """Return the number of the section that each point belongs to, shape (n,); others are out of range."""
    step = heights[1] - heights[0]
    return np.asarray(np.floor((points[:, 2] - heights[0]) / step + 0.5), dtype=np.int64)


def carried(points: FloatArray, heights: FloatArray, field: RadiusField) -> FloatArray:
    """Return x and y of points carried along the nominal surface to heights, shape (n, 2), mm."""
    angle = polar(points)[1]
    return np.asarray(points[:, :2] * (field.at(heights, angle) / field.at(points[:, 2], angle))[:, None])


def sections_of(
    heights: FloatArray,
    terms: FloatArray,
    centre: FloatArray,
    number: IntArray,
    inside: IntArray | FloatArray,
) -> Sections:
    """Return sections without those of which the scan has too little.

    Args:
        heights: Shape (k,), mm.
        terms: As in ``SectionFit``.
        centre: Before the shift of the terms, shape (k, 2), mm.
        number: Number of points, shape (k,).
        inside: Number of points in each eighth of the circumference, shape (k, 8).
    """
    reached = inside > _SPARSE * inside.sum(axis=1, keepdims=True) / PARTS
    good = ((number >= _FEWEST) & (reached.sum(axis=1) >= PARTS - 2))[:, None]
    terms = np.where(good, terms, np.nan)
    return Sections(heights, terms[:, 0], centre + terms[:, 1:3], terms[:, 3:], number)


def nominal_sections(heights: FloatArray, field: RadiusField) -> Sections:
    """Return the sections of the nominal surface itself."""
    angle = np.tile(field.angles[:-1], len(heights))
    z = np.repeat(heights, len(field.angles) - 1)
    r = field.at(z, angle)
    return fitted_sections(np.column_stack([r * np.cos(angle), r * np.sin(angle), z]), heights, field)


def _least_squares(
    columns: FloatArray, right: FloatArray, weight: FloatArray, group: IntArray, groups: int
) -> FloatArray:
    """Solve a weighted least-squares problem for each group at once, shape (groups, terms)."""
    terms = columns.shape[1]
    matrix, vector = np.empty((groups, terms, terms)), np.empty((groups, terms))
    for i in range(terms):
        weighted = weight * columns[:, i]
        vector[:, i] = np.bincount(group, weighted * right, groups)
        for j in range(i, terms):
            matrix[:, i, j] = matrix[:, j, i] = np.bincount(group, weighted * columns[:, j], groups)
    # A section with too few points gets the shortest solution here, and is left out later.
    return np.asarray(np.einsum("gij,gj->gi", np.linalg.pinv(matrix, hermitian=True), vector))


def _tukey(residual: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Tukey's weights, with the median absolute deviation of each group."""
    size = np.abs(residual)
    order = np.lexsort([size, group])
    first = np.searchsorted(group[order], np.arange(groups))
    count = np.bincount(group, minlength=groups)
    middle = np.minimum(first + count // 2, len(size) - 1)
    deviation = np.maximum(1.4826 * size[order][middle], 1e-12)
    return np.asarray((1.0 - np.minimum(size / (_TUKEY * deviation[group]), 1.0) ** 2) ** 2)
