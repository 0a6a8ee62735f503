# SPDX-License-Identifier: MIT
"""The whole deformed part of a run and its obstacles as the file of one state."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.results.fields.harmonic_motion import harmonic_motion
from annelid.results.fields.state_fields import MODE, FieldGrid
from annelid.results.fields.vtk_files import CellGrid, read_point_arrays, unstructured_grid
from annelid.results.folder.run_record import RunRecord
from annelid.results.show.obstacles import obstacle_surface
from annelid.results.show.shown_fields import (
    DISPLACEMENT,
    THICKNESS,
    Range,
    deformed_points,
    electrode_voltage,
    labelled,
    shown_fields,
)
from annelid.results.show.state_numbers import state_numbers
from annelid.results.show.wall_lines import WallLines
from annelid.results.show.whole_part import WholePart, whole_part
from annelid.solver.model.harmonic_words import waves_of
from annelid.solver.model.loads import LOAD_KINDS

__all__ = ["ShownPart"]

_OBSTACLE = next(kind.label for kind in LOAD_KINDS if kind.attribute == "obstacles")
_TRIANGLE = 5  # number in VTK


@dataclass(frozen=True)
class ShownPart:
    """The whole part of a run."""

    run: RunRecord

    @property
    def points(self) -> int:
        """Number of points of the whole part."""
        return len(self._whole.placement.source)

    @cached_property
    def rows(self) -> dict[int, int]:
        """Row of the table by number of the state."""
        return {int(state): row for row, state in enumerate(self.run.table["state"])}

    def fields(self, state: int) -> dict[str, FloatArray]:
        """Return the fields of a state at the points of the grid, in internal units, by name without unit."""
        return self._fields(self._arrays(state), state)

    def positions_and_fields(self, state: int) -> tuple[FloatArray, dict[str, FloatArray]]:
        """Return the present positions of the points of the grid, shape (n, 3), mm, and their fields."""
        arrays = self._arrays(state)
        return deformed_points(arrays), self._fields(arrays, state)

    def file(self, state: int, over_all: Mapping[str, Range]) -> bytes:
        """Return the ``.vtu`` file of a state.

        The axis is Y, which viewers show upright. Two points without cells follow those of the part and of
        the obstacles; they hold the least and the largest value of every field in all states, so that a
        viewer uses the same colours for all of them. Values on obstacles are ``nan``.

        Args:
            state: Number of the state.
            over_all: Range of each field in all states.
        """
        arrays, whole = self._arrays(state), self._whole
        points = whole.placement.place(deformed_points(arrays))
        corners, triangles, obstacle = self._obstacles(state, points)
        none = np.full(len(corners), np.nan)
        fields = {name: v[whole.placement.source] for name, v in self._fields(arrays, state).items()}
        fields = {name: np.append(values, none) for name, values in fields.items()}
        point_data = labelled(fields, over_all, self.run.units)
        active = next(name for name in point_data if name.startswith(DISPLACEMENT))
        point_data |= self._mode(arrays, state, len(corners) + 2)
        part = np.append(self._grid.region[whole.origin], len(self.run.body.regions) + obstacle)
        electrode = np.append(self._grid.band[whole.origin], np.full(len(triangles), -1))
        cells = {whole.vtk_cell_type: whole.cells}
        return unstructured_grid(
            CellGrid(
                points=_upright(np.concatenate([points, corners, points[:1], points[:1]])),
                cells=cells | {_TRIANGLE: triangles + len(points)} if len(triangles) else cells,
                point_data=point_data,
                cell_data={"part": part.astype(np.int16), "electrode": electrode.astype(np.int16)},
                field_data={name: [number] for name, number in self._numbers(state).items()},
                active=active,
            )
        )

    def _mode(
        self, arrays: Mapping[str, NDArray[np.generic]], state: int, others: int
    ) -> dict[str, NDArray[np.float32]]:
        """The mode of a critical state of an axisymmetric model as a vector field, zero at other points."""
        if MODE not in arrays or self.run.body.model != "axisymmetric":
            return {}
        m = waves_of(self.run.table.critical[self.rows[state]])
        motion = harmonic_motion(self._whole.placement, np.asarray(arrays[MODE], dtype=float), m)
        motion = motion / np.linalg.norm(motion, axis=1).max()
        return {MODE: _upright(np.concatenate([motion, np.zeros((others, 3))]))}

    @cached_property
    def _grid(self) -> FieldGrid:
        return FieldGrid(self.run.body)

    @cached_property
    def _wall_lines(self) -> WallLines:
        return WallLines(self._grid)

    @cached_property
    def _whole(self) -> WholePart:
        waves = max(map(waves_of, self.run.table.critical), default=0)
        return whole_part(self._grid, symmetry_plane=self.run.description.symmetry_plane, waves=waves)

    def _arrays(self, state: int) -> dict[str, NDArray[np.generic]]:
        return read_point_arrays(self.run.field_file(state))

    def _fields(self, arrays: Mapping[str, NDArray[np.generic]], state: int) -> dict[str, FloatArray]:
        shown = shown_fields(arrays)
        thickness = self._wall_lines.thickness(deformed_points(arrays))
        if thickness is not None:
            shown[THICKNESS] = thickness
        return shown | electrode_voltage(self._grid, self.run.table, self.rows[state])

    def _obstacles(self, state: int, points: FloatArray) -> tuple[FloatArray, IntArray, IntArray]:
        """Points and triangles of all obstacles, and the number of the obstacle of each triangle."""
        corners, triangles, numbers = [np.empty((0, 3))], [np.empty((0, 3), int)], [np.empty(0, int)]
        for number, contact in enumerate(self.run.description.obstacles):
            position = float(self.run.table[f"{_OBSTACLE} {contact.name}"][self.rows[state]])
            if position > 0.0 or not contact.has_radius:  # radius 0 is the lumen that closes upon itself
                surface = obstacle_surface(contact, position, points)
                triangles.append(surface[1] + sum(map(len, corners)))
                corners.append(surface[0])
                numbers.append(np.full(len(surface[1]), number))
        return np.concatenate(corners), np.concatenate(triangles), np.concatenate(numbers)

    def _numbers(self, state: int) -> dict[str, float]:
        facts = {
            "states of the run": len(self.run.table),
            "images of the model around the axis": self._whole.images,
            "halves about a plane of symmetry": 2 if self.run.description.symmetry_plane else 1,
            "X, Y, Z of the model are X, -Z, Y here": 1,
            "points at the end that hold the ranges over all states": 2,
            "cells of the model are split at their middle nodes": int(self._whole.is_fine),
        }
        return state_numbers(self.run, self.rows[state]) | facts


def _upright(points: FloatArray) -> NDArray[np.float32]:
    """Turn the axis from Z to Y; X stays."""
    x, y, z = points.T
    return np.column_stack([x, z, -y]).astype(np.float32)
