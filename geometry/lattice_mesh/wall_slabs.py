# SPDX-License-Identifier: MIT
"""The slabs of a wall with a lattice: its layers and struts over the depth, from inside to outside."""

import itertools
from collections.abc import Sequence

import numpy as np

from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.lattice_mesh.extruded_body import STRUTS
from annelid.geometry.lattice_mesh.extrusion import Slab
from annelid.geometry.lattice_mesh.lattice_sheet import LatticeMeshSize
from annelid.geometry.shapes.shape import Layer


def wall_slabs(
    lattice: Lattice, layers: Sequence[Layer], size: LatticeMeshSize, depth: float
) -> tuple[list[Slab], tuple[float, float]]:
    """Slabs from inside to outside, and the depths of the faces of the wall; the chart is at depth 0.

    Args:
        lattice: The lattice.
        layers: Layers of the wall from inside to outside.
        size: Elements through each slab.
        depth: Position of the surface of an embedded lattice in the wall, from 0 (inner face) to 1 (outer).

    Raises:
        InvalidValue: Embedded struts extend beyond the wall.
    """
    thickness = sum(layer.thickness for layer in layers)
    low, high = lattice.heights
    inner = {"outside": -thickness, "inside": 0.0, "embedded": -depth * thickness}[lattice.side]
    edges = inner + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in layers])])
    wall = float(edges[0]), float(edges[-1])
    slabs = [
        Slab(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(layers, edges[:-1], edges[1:], strict=True)
    ]
    struts = Slab(low, high, size.through_struts, STRUTS, None)
    if lattice.side == "embedded":
        return _embedded(slabs, struts), wall
    return ([*slabs, struts] if lattice.side == "outside" else [struts, *slabs]), wall


def _embedded(slabs: list[Slab], struts: Slab) -> list[Slab]:
    """The slabs divided at the faces of embedded struts, with the struts in place of the wall between."""
    if struts.low < slabs[0].low - 1e-12 or struts.high > slabs[-1].high + 1e-12:
        raise InvalidValue(
            f"embedded struts of {struts.high - struts.low:g} mm extend beyond the wall: make height smaller "
            "or change depth",
            key="height",
            subject="lattice",
        )
    divided = []
    for slab in slabs:
        inside = [z for z in (struts.low, struts.high) if slab.low + 1e-9 < z < slab.high - 1e-9]
        edges = [slab.low, *inside, slab.high]
        for low, high in itertools.pairwise(edges):
            embedded = low > struts.low - 1e-9 and high < struts.high + 1e-9
            elements = max(1, round(slab.elements * (high - low) / (slab.high - slab.low)))
            count = max(elements, struts.elements) if embedded else elements
            divided.append(Slab(low, high, count, STRUTS if embedded else slab.between, slab.between))
    return divided


def with_cover(
    slabs: list[Slab], wall: tuple[float, float], cover: Sequence[Layer], size: LatticeMeshSize
) -> tuple[list[Slab], tuple[float, float]]:
    """The slabs of a wall with a lattice on it and layers cast over it, and the depths of all its faces."""
    *inner, struts = slabs
    edges = wall[1] + np.concatenate([[0.0], np.cumsum([layer.thickness for layer in cover])])
    cast = [
        Slab(float(a), float(b), size.through, layer.name, layer.name)
        for layer, a, b in zip(cover, edges[:-1], edges[1:], strict=True)
    ]
    return inner + _embedded(cast, struts), (wall[0], float(edges[-1]))
