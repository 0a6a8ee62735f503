# SPDX-License-Identifier: MIT
"""A small deviation of a part from its shape of revolution, as waves around the axis."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from annelid.geometry.body import Body, FloatArray
from annelid.geometry.checks import whole_number, within
from annelid.geometry.errors import Finding, InvalidValue, checking
from annelid.geometry.meshing.mesh_size import MeshSize
from annelid.geometry.meshing.quality import check_quality
from annelid.geometry.shapes.shape import Shape

__all__ = ["MODE_COLUMNS", "Imperfection", "deformed", "imperfection_findings"]

MODE_COLUMNS = ("radius_mm", "height_mm", "outwards", "around", "along")
"""Columns of the file of a mode: places on the meridian, and its amplitudes there."""

_SAME = 1e-9  # of a half wave
_FLAT = 1e-9  # width over length of places on one line


@dataclass(frozen=True, eq=False)
class Imperfection:
    """The displacement (a cos mθ, b sin mθ, c cos mθ) along (R, hoop, Z) that a drawn part gets.

    Attributes:
        places: Positions (R, Z) on the meridian, shape (n, 2), mm.
        mode: Amplitudes (a, b, c) there, of any size, shape (n, 3).
        waves: Number of waves m around the axis.
        size: Largest displacement of the places, mm.

    Raises:
        InvalidValue: There are too few places, the mode is zero, or a value is out of range.
    """

    places: FloatArray
    mode: FloatArray
    waves: int
    size: float

    def __post_init__(self) -> None:
        with checking("imperfection"):
            whole_number("waves", self.waves, least=1)
            within("size", self.size, above=0.0, unit="mm")
            spread = np.linalg.svd(self.places - self.places.mean(axis=0), compute_uv=False)
            if len(spread) < 2 or spread[1] <= _FLAT * spread[0]:
                raise InvalidValue("needs at least three places that are not on one line", key="radius")
            if not self.mode.any():
                raise InvalidValue("is zero everywhere, so that it has no shape", key="outwards")

    def displacement(self, points: FloatArray) -> FloatArray:
        """Return the displacement of points (X, Y, Z), shape (k, 3), mm.

        Between the places the mode is interpolated linearly, beyond them it is that of the nearest place.
        """
        θ = np.arctan2(points[:, 1], points[:, 0])
        wave = self.waves * θ
        outwards, around, along = self._amplitudes(points).T
        outwards, around = outwards * np.cos(wave), around * np.sin(wave)
        x = np.cos(θ) * outwards - np.sin(θ) * around
        y = np.sin(θ) * outwards + np.cos(θ) * around
        return np.column_stack([x, y, along * np.cos(wave)])

    def _amplitudes(self, points: FloatArray) -> FloatArray:
        from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator

        at = np.column_stack([np.hypot(points[:, 0], points[:, 1]), points[:, 2]])
        a, b, c = self.mode.T
        scaled = self.size / max(np.hypot(a, c).max(), np.abs(b).max()) * self.mode
        found = LinearNDInterpolator(self.places, scaled)(at)
        beyond = np.isnan(found).any(axis=1)
        if beyond.any():
            found[beyond] = NearestNDInterpolator(self.places, scaled)(at[beyond])
        return np.asarray(found)


def deformed(body: Body, imperfection: Imperfection) -> Body:
    """Return a 3-D body with an imperfection; its wall directions stay those of the shape of revolution.

    Raises:
        InputError: The mesh quality is then below the floor.
    """
    moved = replace(body, points=body.points + imperfection.displacement(body.points))
    check_quality(moved)
    return moved


def imperfection_findings(imperfection: Imperfection, shape: Shape, size: MeshSize) -> Iterator[Finding]:
    """Yield why an imperfection does not fit a shape and its model."""
    keys = ("imperfection",)
    if size.model == "axisymmetric":
        text = "needs a 3-D model: choose mesh.model = 'sector' or 'solid', or remove [imperfection]"
        yield Finding(keys, InvalidValue(text))
    halves = size.sector * imperfection.waves / 180.0
    if size.model == "sector" and not math.isclose(halves, max(1, round(halves)), rel_tol=_SAME):
        text = (
            f"{imperfection.waves} waves are not symmetric about the planes of a sector of {size.sector:g} "
            f"deg: choose mesh.sector = '{180 / imperfection.waves:.12g} deg' or a multiple of it"
        )
        yield Finding(keys, InvalidValue(text, key="waves", value=imperfection.waves))
    thickness = shape.thickest
    if imperfection.size > thickness:
        text = f"must be at most the thickness of the wall, {thickness:g} mm, got {imperfection.size:g} mm"
        yield Finding(keys, InvalidValue(text, key="size", value=imperfection.size))
