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
    """A meshed part in its drawn (reference) configuration, lengths in mm.

    Node order within cells and facets is that of the VTK file format (``quad9``, ``hexahedron27``,
    ``tetra10``; ``line3``, ``quad9``, ``triangle6``), which is also meshio's.

    Attributes:
        model: ``"axisymmetric"`` (meridian mesh, points are R, Z), ``"solid"`` or ``"sector"``
            (points are X, Y, Z; the axis of the part is Z).
        points: Node positions, shape (n, 2) or (n, 3), mm.
        cell_type: ``"quad9"``, ``"hexahedron27"`` or ``"tetra10"``.
        cells: Node numbers of each cell, shape (m, nodes per cell).
        regions: Cell numbers of each named layer; the layers partition the cells.
        bands: Cell numbers of each named electrode band; bands do not overlap.
        facets: Node numbers of the named facets, shape (f, nodes per facet).
        surfaces: Facet numbers of each named surface.
        normal: Unit wall normal at the nodes, pointing away from the lumen, shape of ``points``.
        hoop: Unit circumferential direction at the nodes, shape (n, 3); ``None`` when axisymmetric
            (there it leaves the meridian plane).
        multiplicity: How many of the modelled piece make the whole part (1 unless a sector).
        notes: What is to be told of how it was drawn, by subject.
        stress_free_gradient: Of regions drawn stretched: the gradient of the stress-free place over the drawn
            one at every node, from the wall directions here (columns: normal, hoop, axial) to those there
            (rows), shape (n, 3, 3).
        stress_free_points: Stress-free places of the nodes of regions drawn stretched, shape (n, 3), mm;
            ``None`` where they are not known. Those of other nodes mean nothing.
        drawn_pressure: Lumen pressure under which the body is drawn, MPa; ``None`` for a body drawn without
            loads.
        deposited: Regions that were deposited stress-free on the others when these were in balance with
            ``pressure``.
        base_node: Node of the other regions on which each node stands, itself for theirs, shape (n,);
            ``None`` where nothing is deposited.
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
    drawn_pressure: float | None = None
    deposited: tuple[str, ...] = ()
    base_node: IntArray | None = None

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
