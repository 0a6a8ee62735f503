# SPDX-License-Identifier: MIT
"""The fields of a state as a second-order grid for ParaView and pyvista.

Nodes are doubled where regions or electrode bands meet, so that jumps stay; within a piece the values of
neighbouring cells are averaged. Points are the drawn (reference) positions: warp by ``displacement [mm]``
to see the deformed part. An axisymmetric node (R, Z) stands at (R, 0, Z); if the part twists, it leaves the
plane Y = 0. The tensor components R, hoop, Z, which turn with the node, are its X, Y, Z ones.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.fields.vtk_files import CellGrid, unstructured_grid
from annelid.solver.display import KINDS
from annelid.solver.model.quantities import FOLDED_LENGTHS, LEAST_IN_PLANE_STRESS, MARGINS
from annelid.solver.records import Equilibrium

VTK_CELL_TYPES = {"quad9": 28, "hexahedron27": 29, "tetra10": 24}
FIELD_KINDS = {
    "Cauchy stress": "stress",
    "largest principal stress": "stress",
    "principal stretches": "ratio",
    "pressure": "stress",
    "true field": "electric field",
    LEAST_IN_PLANE_STRESS.name: "stress",
    **dict.fromkeys(MARGINS, "ratio"),
    **{quantity.name: quantity.kind for quantity in FOLDED_LENGTHS},
}
"""Kind of number of each field."""
MODE = "mode"


def in_space(vectors: FloatArray) -> FloatArray:
    """Return positions or displacements in X, Y, Z: (R, Z) becomes (R, 0, Z)."""
    if vectors.shape[1] == 3:
        return vectors
    return np.column_stack([vectors[:, 0], np.zeros(len(vectors)), vectors[:, 1]])


def in_meridian(points: FloatArray) -> FloatArray:
    """Return the positions (R, Z) of points in X, Y, Z."""
    return np.column_stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]])


def labels_of(sets: Mapping[str, IntArray], count: int) -> IntArray:
    """Return for each of ``count`` cells the position of its set, -1 where it is in none."""
    labels = np.full(count, -1, dtype=np.int64)
    for i, members in enumerate(sets.values()):
        labels[members] = i
    return labels


@dataclass(frozen=True)
class FieldGrid:
    """The grid on which all states of one body are written.

    Raises:
        InputError: The body has a cell type that is not second order.
    """

    body: Body

    def __post_init__(self) -> None:
        if self.body.cell_type not in VTK_CELL_TYPES:
            raise InputError(
                f"cell type {self.body.cell_type!r}: fields are written for {', '.join(VTK_CELL_TYPES)}."
            )

    @cached_property
    def region(self) -> IntArray:
        """Position of each cell's region in ``body.regions``, shape (m,)."""
        return labels_of(self.body.regions, len(self.body.cells))

    @cached_property
    def band(self) -> IntArray:
        """Position of each cell's band in ``body.bands``, -1 for none, shape (m,)."""
        return labels_of(self.body.bands, len(self.body.cells))

    @cached_property
    def _numbering(self) -> tuple[IntArray, IntArray]:
        """Body node of each grid point, and grid points of the cells."""
        piece = self.region * (len(self.body.bands) + 1) + self.band + 1
        keys = piece[:, None] * len(self.body.points) + self.body.cells
        unique, cells = np.unique(keys, return_inverse=True)
        return unique % len(self.body.points), cells.reshape(self.body.cells.shape)

    @property
    def nodes(self) -> IntArray:
        """Body node at each point of the grid."""
        return self._numbering[0]

    @property
    def cells(self) -> IntArray:
        """Grid points of each cell, shape (m, nodes per cell)."""
        return self._numbering[1]

    @cached_property
    def _grouping(self) -> tuple[IntArray, IntArray, IntArray]:
        """Order that brings the places of each grid point together, first place and number of each."""
        flat = self.cells.ravel()
        count = np.bincount(flat, minlength=len(self.nodes))
        return np.argsort(flat, kind="stable"), np.cumsum(count) - count, count

    def average(self, values: FloatArray) -> FloatArray:
        """Average values given at the nodes of every cell, shape (m, nodes per cell, ...), to the points."""
        order, first, count = self._grouping
        flat = values.reshape(self.cells.size, -1)
        mean = np.add.reduceat(flat[order], first, axis=0) / count[:, None]
        return mean.reshape(len(self.nodes), *values.shape[2:])

    def point_arrays(self, state: Equilibrium) -> dict[str, FloatArray]:
        """Return the nodal arrays of a state by name with unit.

        Margins are ``nan`` where there is no load, and the least in-plane stress outside walls, so that
        colour scales stay finite. A critical state has its ``mode``.
        """
        arrays = {
            "displacement [mm]": in_space(state.displacement)[self.nodes],
            "reference position [mm]": in_space(self.body.points)[self.nodes],
        }
        for name, values in state.fields.items():
            average = self._margin(values) if name in MARGINS else self.average(values)
            if name == LEAST_IN_PLANE_STRESS.name:
                average = np.where(np.isfinite(average), average, np.nan)
            arrays[f"{name} [{KINDS[FIELD_KINDS.get(name, 'ratio')].unit}]"] = average
        if state.mode is not None:
            arrays[MODE] = in_space(state.mode)[self.nodes]
        if "Cauchy stress" in state.fields:
            principal = np.linalg.eigvalsh(arrays["Cauchy stress [MPa]"])
            arrays["largest principal stress [MPa]"] = principal[:, -1]
        return arrays

    def _margin(self, values: FloatArray) -> FloatArray:
        # Load over limit averages like the load itself; its inverse would be infinite beside any cell
        # without load.
        load = self.average(1.0 / values)
        return np.divide(1.0, load, out=np.full_like(load, np.nan), where=load > 0)

    def vtu(self, state: Equilibrium) -> bytes:
        """Return the ``.vtu`` file of a state."""
        names = {"part names": list(self.body.regions), "band names": list(self.body.bands)}
        return unstructured_grid(
            CellGrid(
                points=in_space(self.body.points)[self.nodes],
                cells={VTK_CELL_TYPES[self.body.cell_type]: self.cells},
                point_data=self.point_arrays(state),
                cell_data={"part": self.region, "band": self.band},
                field_data={
                    **{name: texts for name, texts in names.items() if texts},
                    "stage": [state.stage],
                    "model": [self.body.model],
                },
            )
        )
