# SPDX-License-Identifier: MIT
"""Walls of layers whose thickness differs from place to place: where points lie, and what a model allows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import Finding, InvalidValue
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.shapes.shape import Layer, Shape, layer_faces

__all__ = ["UnevenWall", "local_depth", "unevenness_findings"]

_COVERED = 1e-6  # of the length: how far a map may end before the wall does
_MIRRORED = 1e-3  # of the mean thickness: how far two sides of a plane of symmetry may differ
_STEEPEST = 0.5  # change of the thickness over the length along or around the wall
_SAMPLES, _ANGLES = 401, 144


def local_depth(depth: FloatArray, nominal: FloatArray, faces: FloatArray) -> FloatArray:
    """Move depths between even faces to the same share of the distance between uneven ones.

    Args:
        depth: Depths in the wall as if it were even, shape (m,), mm; beyond its faces they keep their
            distance.
        nominal: Depths of these even faces, ascending, shape (k,), mm.
        faces: Depths of the uneven faces, shape (m, k), mm.
    """
    between = np.clip(np.searchsorted(nominal, depth, side="right") - 1, 0, len(nominal) - 2)
    row = np.arange(len(depth))
    low, high = nominal[between], nominal[between + 1]
    share = np.clip((depth - low) / (high - low), 0.0, 1.0)
    moved = (1 - share) * faces[row, between] + share * faces[row, between + 1]
    return np.asarray(moved + np.minimum(depth - nominal[0], 0.0) + np.maximum(depth - nominal[-1], 0.0))


@dataclass(frozen=True)
class UnevenWall:
    """A wall of uneven layers on the parameter plane of the same wall with even ones.

    Attributes:
        shape: The shape.
        x: Lines of the faces of its layers in the parameter plane, shape (layers + 1,), mm.
        places: Function that returns where lines y along the part are in maps of the thickness, mm.
    """

    shape: Shape
    x: FloatArray
    places: Callable[[FloatArray], FloatArray]

    def through(self, x: FloatArray, y: FloatArray, angle: FloatArray) -> FloatArray:
        """Return where points x, y of the parameter plane (mm) lie through the wall at angles in rad, mm."""
        faces = layer_faces(self.shape.layers, self.places(y), angle)
        return self.x[0] + local_depth(x - self.x[0], self.x - self.x[0], faces)

    def thickness(self, y: FloatArray, angle: FloatArray) -> dict[str, FloatArray]:
        """Return the local thickness of each uneven layer at lines y (mm) and angles (rad), mm."""
        layers = (layer for layer in self.shape.layers if layer.uneven is not None)
        return {layer.name: layer.at(self.places(y), angle) for layer in layers}


def unevenness_findings(
    shape: Shape, size: MeshSize, *, measured: tuple[float, float] | None = None
) -> Iterator[Finding]:
    """Find maps of the thickness that do not cover the wall, or that the model cannot describe.

    Args:
        shape: The shape.
        size: The mesh.
        measured: Lowest and highest height of a measured surface that replaces the shape, mm.
    """
    if all(layer.uneven is None for layer in shape.layers):
        return
    position, radius, step = _along(shape, measured)
    for index, layer in enumerate(shape.layers):
        if layer.uneven is not None:
            text = _conflict(layer, shape, size, (position, radius, step))
            if text:
                error = InvalidValue(text, key="thickness_map", subject=f"layer '{layer.name}'")
                yield Finding(("shape", "layers", index), error)


def _along(shape: Shape, measured: tuple[float, float] | None) -> tuple[FloatArray, FloatArray, float]:
    """Places and radii along the wall, shape (k,), and the length between them, mm."""
    if measured is not None:
        return (
            np.linspace(*measured, _SAMPLES),
            np.full(_SAMPLES, np.inf),
            (measured[1] - measured[0]) / (_SAMPLES - 1),
        )
    meridian = shape.meridian
    position = meridian.at(np.linspace(0.0, meridian.length, _SAMPLES)).position
    return shape.places(position), position[:, 0], meridian.length / (_SAMPLES - 1)


def _conflict(layer: Layer, shape: Shape, size: MeshSize, along: tuple[FloatArray, FloatArray, float]) -> str:
    """What is wrong with the map of a layer, "" if nothing is."""
    assert layer.uneven is not None
    uneven, (places, radius, step) = layer.uneven, along
    low, high = float(places.min()), float(places.max())
    noun, slack = "radii" if shape.bands_by_radius else "heights", _COVERED * (high - low)
    if uneven.places[0] > low + slack or uneven.places[-1] < high - slack:
        return (
            f"covers {noun} from {uneven.places[0]:g} to {uneven.places[-1]:g} mm, but the wall extends from "
            f"{low:g} to {high:g} mm: give the thickness up to both ends"
        )
    angle = 2 * np.pi * np.arange(_ANGLES) / _ANGLES
    table = np.stack(
        [uneven.at(places, np.full(len(places), a)) for a in (angle if not uneven.all_around else angle[:1])]
    )
    if not uneven.all_around:
        if size.model == "axisymmetric":
            return (
                "differs around, which an axisymmetric model cannot describe: choose mesh.model = 'solid', "
                "or thickness_map.average = true for the mean around"
            )
        if size.model == "sector" and (off := _asymmetry(layer, size, places)) > _MIRRORED:
            return (
                f"is not symmetric about the planes of a sector of {size.sector:g} degrees (it differs by "
                f"{100 * off:.2g} % of its mean): choose mesh.model = 'solid'"
            )
        closed = (
            radius < 1e-9 * radius.max() if np.isfinite(radius).all() else np.zeros(len(radius), dtype=bool)
        )
        if closed.any() and np.ptp(table[:, closed], axis=0).max() > _MIRRORED * uneven.mean:
            return "differs around a closed pole, where all angles are one place: give one thickness there"
    return _too_steep(table, radius, step)


def _asymmetry(layer: Layer, size: MeshSize, places: FloatArray) -> float:
    """Largest difference of the thickness across the planes of a sector, over its mean."""
    worst, sector = 0.0, np.radians(size.sector)
    for angle in np.linspace(0.0, np.pi, _ANGLES // 2):
        here, mirrored, beyond = (
            layer.at(places, np.full(len(places), a)) for a in (angle, -angle, 2 * sector - angle)
        )
        worst = max(worst, float(np.abs(here - mirrored).max()), float(np.abs(here - beyond).max()))
    return worst / layer.thickness


def _too_steep(table: FloatArray, radius: FloatArray, step: float) -> str:
    """Refuse a thickness that changes as fast as the wall is long: normals then no longer cross the layer."""
    along = np.abs(np.diff(table, axis=1)).max() / step
    around = np.abs(table - np.roll(table, 1, axis=0)).max(axis=0) / (2 * np.pi / len(table))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = max(float(along), float(np.max(np.where(radius > 0.1 * radius.max(), around / radius, 0.0))))
    if slope <= _STEEPEST:
        return ""
    return (
        f"changes by up to {slope:.2g} mm over 1 mm of the wall: it must be at most {_STEEPEST:g}; smooth "
        "the measurement"
    )
