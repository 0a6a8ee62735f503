# SPDX-License-Identifier: MIT
"""Layers of uneven thickness in a wall with a lattice."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice.chart import Chart
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.meshing.uneven_wall import local_depth
from annelid.geometry.shapes.shape import Layer, layer_faces


@dataclass(frozen=True)
class UnevenLayers:
    """Layers of uneven thickness within a measured outer face; ``outer`` is the depth of this face, mm."""

    chart: MeasuredChart
    layers: Sequence[Layer]
    outer: float

    def through(self, points: FloatArray, depth: FloatArray) -> FloatArray:
        """Return depths of points (u, v) given those in an even wall; struts stay where they are."""
        nominal = np.cumsum([0.0, *(layer.thickness for layer in self.layers)])
        angle, height = self.chart.coordinates(points).T
        faces = layer_faces(self.layers, height, angle)
        faces -= faces[:, -1:]
        inside = np.minimum(depth - self.outer, 0.0)
        return np.where(
            depth > self.outer, depth, self.outer + local_depth(inside, nominal - nominal[-1], faces)
        )

    def thickness(self, points: FloatArray) -> dict[str, FloatArray]:
        """Return the local thickness of the uneven layers at points (u, v), mm."""
        angle, height = self.chart.coordinates(points).T
        return {layer.name: layer.at(height, angle) for layer in self.layers if layer.uneven is not None}


def uneven_wall(chart: Chart, layers: Sequence[Layer], outer: float) -> UnevenLayers | None:
    """The uneven layers of a wall, ``None`` if all are even.

    Args:
        chart: Chart of the outer face.
        layers: Layers from inside to outside.
        outer: Depth of the outer face, mm.

    Raises:
        InvalidValue: The outer face is not a measured one with the lattice on it.
    """
    if not any(layer.uneven for layer in layers):
        return None
    if not isinstance(chart, MeasuredChart) or chart.offset:
        text = "uneven layers with a lattice need a measured outer face on which the lattice lies"
        raise InvalidValue(text, key="layers")
    return UnevenLayers(chart, layers, outer)
