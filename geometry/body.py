# SPDX-License-Identifier: MIT
"""The body: a second-order mesh whose regions, bands and surfaces have names."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.errors import InputError

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Body:
    """A meshed part in its reference configuration, lengths in mm.

    The node order within cells and facets is that of the VTK file format and of meshio (cells ``quad9``,
    ``hexahedron27``, ``tetra10``; facets ``line3``, ``quad9``, ``triangle6``).

    Attributes:
        model: ``"axisymmetric"`` (mesh of the meridian plane, points are R, Z), ``"solid"`` or ``"sector"``
            (points are X, Y, Z; the axis of the part is Z).
        points: Node positions, shape (n, 2) or (n, 3), mm.
        cell_type: ``"quad9"``, ``"hexahedron27"`` or ``"tetra10"``.
        cells: Node numbers of each cell, shape (m, nodes per cell).
        regions: Cell numbers of each named region; the regions partition the cells.
        bands: Cell numbers of each named electrode band; bands do not overlap.
        facets: Node numbers of the named facets, shape (f, nodes per facet).
        surfaces: Facet numbers of each named surface.
        normal: Unit wall normal at the nodes, pointing away from the lumen, shape of ``points``.
        hoop: Unit circumferential direction at the nodes, shape (n, 3); ``None`` for an axisymmetric body,
            where it is perpendicular to the meridian plane.
        multiplicity: Number of copies of the mesh that make the whole part (1 unless it is a sector).
        notes: Remarks for the report on how the geometry was obtained, by subject.
        stress_free_gradient: For each region whose reference shape is stretched, the gradient of the
            stress-free position with respect to the reference position at every node, shape (n, 3, 3).
            Columns refer to the wall directions (normal, hoop, axial) of the reference shape, rows to those
            of the stress-free shape.
        stress_free_points: Stress-free positions of the nodes of these regions, shape (n, 3), mm; ``None``
            if they are unknown. The values of other nodes have no meaning.
        deposited: Regions that were deposited stress-free on the other regions.
        base_node: For each node of a deposited region the node of the other regions beneath it, for each
            other node the node itself, shape (n,); ``None`` if nothing is deposited.
        layer_thickness: For each region that is a layer of uneven thickness, its local thickness through the
            wall at every node, shape (n,), mm; it is not kept in mesh files.
        grid: Places of the nodes in a mesh of rows and columns, in half elements through the wall and along
            it, shape (n, 2); ``None`` in 3-D. It is not kept in mesh files.
    """

    model: str
    points: FloatArray
    cell_type: str
    cells: IntArray
    regions: Mapping[str, IntArray]
    bands: Mapping[str, IntArray]
    facets: IntArray
    surfaces: Mapping[str, IntArray]
    normal: FloatArray
    hoop: FloatArray | None = None
    multiplicity: float = 1.0
    notes: Mapping[str, str] = field(default_factory=dict)
    stress_free_gradient: Mapping[str, FloatArray] = field(default_factory=dict)
    stress_free_points: FloatArray | None = None
    deposited: tuple[str, ...] = ()
    base_node: IntArray | None = None
    layer_thickness: Mapping[str, FloatArray] = field(default_factory=dict)
    grid: IntArray | None = None

    def facet_numbers(self, surface: str) -> IntArray:
        """Facet numbers of a named surface.

        Raises:
            InputError: The body has no such surface; the message lists those it has.
        """
        if surface not in self.surfaces:
            raise InputError(
                f"surface '{surface}' does not exist; this body has: {', '.join(sorted(self.surfaces))}",
                key=surface,
            )
        return self.surfaces[surface]

    def surface_nodes(self, surface: str) -> IntArray:
        """Sorted nodes of a named surface.

        Raises:
            InputError: The body has no such surface.
        """
        return np.unique(self.facets[self.facet_numbers(surface)])
