# SPDX-License-Identifier: MIT
"""Where and why a cell of a wall with a lattice is folded, and what helps.

Struts stand along the normal of a surface. At a distance z its principal lengths are 1 + z κ times those on
it (do Carmo, Differential Geometry of Curves and Surfaces, section 3-5, from memory). Where this is zero,
struts fold, however small their cells are.
"""

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.checks import RESERVED_REGIONS
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.chart import PERIOD, Chart, RevolutionChart
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.wrapping import Lattice

__all__ = ["folded_cell_error"]

_SOUND = 0.3  # lengths over those on the surface at which no cell was folded in trials; at 0.02 some were
_ALONG, _AROUND = 2001, 72  # samples; an inflated skin bends within a tenth of a millimetre
_STEP = 1e-5  # of finite differences, in units of the chart


def folded_cell_error(
    error: InputError, lattice: Lattice, flat: FloatArray, depth: FloatArray, *, inflated: bool
) -> InputError:
    """Return the error of a folded cell with its place on the surface and with remedies.

    Args:
        error: The error of the mesh quality.
        lattice: The lattice.
        flat: Coordinates (u, v) of the nodes of the cell, shape (10, 2).
        depth: Their distances from the surface of the lattice, shape (10,), mm.
        inflated: Whether the wall is inflated.
    """
    x, y, z = lattice.chart.place(flat).position.mean(axis=0)
    region, fault = error.data["region"], error.data["fault"]
    angle = math.degrees(math.atan2(y, x)) % 360.0
    text = (
        f"mesh: a cell of region {region!r} on the surface at Z = {z:.4g} mm, R = {math.hypot(x, y):.4g} mm, "
        f"{angle:.3g} deg around {fault}: "
    )
    text += _advice(lattice, region, flat, depth, inflated)
    return InputError(text, **{**error.data, "place": (float(x), float(y), float(z))})


def _advice(lattice: Lattice, region: str, flat: FloatArray, depth: FloatArray, inflated: bool) -> str:
    """What helps: another place of the lattice, lower struts, less inflation, or more or smaller elements."""
    of_lattice = region in RESERVED_REGIONS
    count = _ALONG if lattice.chart.of_revolution else _ALONG // 10
    v = np.linspace(*lattice.extent, count)[1:-1]
    faces = lattice.heights if of_lattice else (float(depth.min()), float(depth.max()))
    lengths = {z: _lengths(lattice.chart, v, z) for z in faces if z}
    distance = min(lengths, key=lambda z: lengths[z].min())
    least, sound = float(lengths[distance].min()), lengths[distance] >= _SOUND
    if sound.all():
        wide = np.ptp(lattice.chart.place(flat).position, axis=0).max()
        more = "mesh.through_struts" if of_lattice else "mesh.through"
        return f"make {more} larger" if np.ptp(depth) > wide else "make mesh.on_struts and mesh.along smaller"
    remedies = ["make the layers thinner"]
    if of_lattice:
        height = lattice.height * (1.0 - _SOUND) / (1.0 - least)
        remedies = [*_span(lattice.chart, v, sound), f"make lattice.height at most {height:.2g} mm"]
    last = "inflate less (making)" if inflated else "make the shape less curved there"
    reason = f"the surface bends so sharply that it folds at a distance of {abs(distance):.3g} mm from it"
    return f"{reason}; {', '.join(remedies)} or {last}"


def _lengths(chart: Chart, v: FloatArray, distance: float) -> FloatArray:
    """Least length at a distance from the surface over that on it, of all directions and places around."""
    u = np.linspace(0.0, PERIOD, 1 if chart.of_revolution else _AROUND, endpoint=False)
    points = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)

    def tangents(offset: float) -> FloatArray:
        steps = (np.array([_STEP, 0.0]), np.array([0.0, _STEP]))
        ends = [[chart.place(points + s * step, offset).position for s in (1, -1)] for step in steps]
        return np.stack([(high - low) / (2 * _STEP) for high, low in ends], axis=-1)

    here, there = tangents(0.0), tangents(distance)
    metric, mixed = (np.einsum("kia,kib->kab", here, other) for other in (here, there))
    principal = np.linalg.eigvals(np.linalg.solve(metric, mixed)).real.min(axis=-1)
    return np.asarray(principal.reshape(len(u), len(v)).min(axis=0))


def _span(chart: Chart, v: FloatArray, sound: NDArray[np.bool_]) -> Iterator[str]:
    """Where the lattice may begin and end: the longest piece of the surface that does not fold."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], sound, [False]]).astype(int)))
    pieces = edges.reshape(-1, 2)
    if not len(pieces):
        return
    first, after = pieces[np.argmax(np.diff(pieces, axis=1))]
    limits = [f"begins at {_place(chart, float(v[first]))}"] if first > 0 else []
    limits += [f"ends at {_place(chart, float(v[after - 1]))}"] if after < len(v) else []
    yield f"set lattice.from and lattice.to so that the lattice {' and '.join(limits)}"


def _place(chart: Chart, v: float) -> str:
    """The place that from and to of a lattice refer to: of the meridian, or the mean height of a line."""
    if isinstance(chart, RevolutionChart):
        R, Z = chart.meridian.at(chart.arc_at(np.array([v]))).position[0]
        return f"Z = {Z:.2f} mm (R = {R:.2f} mm)"
    assert isinstance(chart, MeasuredChart)
    u = np.linspace(0.0, PERIOD, _AROUND, endpoint=False)
    return f"Z = {chart.coordinates(np.column_stack([u, np.full_like(u, v)]))[:, 1].mean():.2f} mm"
