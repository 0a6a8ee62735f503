# SPDX-License-Identifier: MIT
"""Faces of revolution laid out flat: cylinders and cones exactly, other faces as gores.

A gore at arc length s is 2π r(s)/n wide, so its area is exact. A curved face cannot be laid out flat without
strain: the edges of the gores are longer than the meridian along which they are joined.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.fabrication.cast_face import CastFace

__all__ = ["Development"]

_FLAT = 1e-7  # of the largest radius, or of the slope: deviation from a cylinder or a cone
_FEW_GORES = (6, 8, 12, 16, 24)
_MISMATCH = 0.01  # of the length of the meridian
_GAP = 3.0  # mm between gores
_FINE = 401  # points of a curved edge


@dataclass(frozen=True)
class Development:
    """A face as cast laid out flat; x runs around and y along it.

    Attributes:
        face: The face.
    """

    face: CastFace

    @cached_property
    def kind(self) -> str:
        """``"rectangle"`` (cylinder), ``"sector"`` (cone or flat ring) or ``"gores"``."""
        radius, arc = self.face.radius, self.face.arc
        if np.ptp(radius) < _FLAT * radius.max():
            return "rectangle"
        straight = radius[0] + (radius[-1] - radius[0]) * arc / arc[-1]
        return "sector" if np.abs(radius - straight).max() < _FLAT * radius.max() else "gores"

    @cached_property
    def panels(self) -> int:
        """Number of pieces."""
        if self.kind != "gores":
            return 1
        return next((n for n in _FEW_GORES if self._mismatch(n) <= _MISMATCH), _FEW_GORES[-1])

    @property
    def mismatch(self) -> float:
        """Length of a seam over that of the meridian, minus 1; 0 if the face is laid out without strain."""
        return self._mismatch(self.panels) if self.kind == "gores" else 0.0

    def place(self, arc: FloatArray, across: FloatArray, panel: int = 0) -> FloatArray:
        """Return the places in the plane, shape (k, 2), mm.

        Args:
            arc: Arc lengths as cast, shape (k,), mm.
            across: Positions around from the left (0) to the right edge (1) of the panel, shape (k,).
            panel: Number of the panel, from 0.
        """
        radius = self.face.radius_at(arc)
        if self.kind == "rectangle":
            return np.column_stack([across * 2 * np.pi * radius, arc])
        if self.kind == "sector":
            slope = float((self.face.radius[-1] - self.face.radius[0]) / self.face.arc[-1])
            from_apex, angle = radius / abs(slope), (across - 0.5) * 2 * np.pi * abs(slope)
            return np.column_stack([from_apex * np.sin(angle), np.sign(slope) * from_apex * np.cos(angle)])
        width = 2 * np.pi * radius / self.panels
        pitch = 2 * np.pi * float(self.face.radius.max()) / self.panels + _GAP
        return np.column_stack([(panel + 0.5) * pitch + (across - 0.5) * width, arc])

    def edge(self, low: float, high: float, side: int, panel: int = 0) -> FloatArray:
        """Return the left (0) or right (1) edge of a panel between two arc lengths, upwards, shape (k, 2)."""
        arc = np.linspace(low, high, _FINE if self.kind == "gores" else 2)
        return self.place(arc, np.full(len(arc), float(side)), panel)

    def row(self, arc: float, panel: int = 0) -> FloatArray:
        """Return the line around a panel at an arc length, from left to right, shape (k, 2)."""
        across = np.linspace(0.0, 1.0, _FINE if self.kind == "sector" else 2)
        return self.place(np.full(len(across), arc), across, panel)

    def outline(self, low: float, high: float, panel: int = 0) -> FloatArray:
        """Return the outline of a panel between two arc lengths, shape (k, 2), mm."""
        right, left = self.edge(low, high, 1, panel), self.edge(low, high, 0, panel)
        return np.concatenate([self.row(low, panel), right[1:], self.row(high, panel)[-2::-1], left[-2:0:-1]])

    def _mismatch(self, panels: int) -> float:
        steps = np.diff(self.face.points, axis=0)
        along = np.linalg.norm(steps, axis=1)
        seam = np.hypot(along, np.pi * steps[:, 0] / panels)
        return float(seam.sum() / along.sum() - 1)
