# SPDX-License-Identifier: MIT
"""Element edges at given places along a part and through its wall."""

from dataclasses import replace

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InvalidValue, checking
from annelid.geometry.meshing.mapped_plane import MappedPlane
from annelid.geometry.meshing.mesh_size import MeshSize

__all__ = ["edges_of", "graded"]

_SLACK = 1e-7  # of the length: how far an edge may be from the line where it is meant to be


def edges_of(mapped: MappedPlane) -> tuple[FloatArray, FloatArray]:
    """Return the element edges of a mapped plane through the wall and along it, mm."""
    if mapped.edges is not None:
        return mapped.edges
    return _even(mapped.x, mapped.columns), _even(mapped.y, mapped.rows)


def graded(mapped: MappedPlane, size: MeshSize) -> MappedPlane:
    """Return a mapped plane with the element edges that a mesh size gives, divided as it says.

    Raises:
        InvalidValue: There is no edge where a layer, an electrode, a section or the part itself ends.
    """
    x, y = edges_of(mapped)
    with checking("mesh"):
        x = _given("edges_through", x, size.edges_through, mapped.x)
        y = _given("edges_along", y, size.edges_along, mapped.y)
    x, y = (_divided(edges, pieces) for edges, pieces in zip((x, y), reversed(size.divide), strict=True))
    columns, rows = _counts(x, mapped.x), _counts(y, mapped.y)
    return replace(mapped, columns=columns, rows=rows, edges=(x, y))


def _even(lines: FloatArray, counts: IntArray) -> FloatArray:
    """Edges of ``counts`` elements of one size between successive lines."""
    steps = [np.linspace(a, b, n, endpoint=False) for a, b, n in zip(lines, lines[1:], counts, strict=False)]
    return np.append(np.concatenate(steps), lines[-1])


def _given(key: str, own: FloatArray, given: tuple[float, ...], lines: FloatArray) -> FloatArray:
    """The given edges, those at lines exactly there; the plane's own if none are given."""
    if not given:
        return own
    edges, slack = np.array(given), _SLACK * (lines[-1] - lines[0])
    nearest = np.abs(edges[:, None] - lines[None]).argmin(axis=0)
    missing = np.abs(edges[nearest] - lines) > slack
    if missing.any() or edges[0] < lines[0] - slack or edges[-1] > lines[-1] + slack:
        wanted = ", ".join(f"{line:.6g} mm" for line in lines)
        text = f"needs edges at the ends of the part, of layers, electrodes and sections: {wanted}"
        raise InvalidValue(text, key=key)
    edges[nearest] = lines
    return edges


def _divided(edges: FloatArray, pieces: int) -> FloatArray:
    return _even(edges, np.full(len(edges) - 1, pieces, dtype=np.int64))


def _counts(edges: FloatArray, lines: FloatArray) -> IntArray:
    """Number of elements between successive lines."""
    return np.diff(np.searchsorted(edges, lines))
