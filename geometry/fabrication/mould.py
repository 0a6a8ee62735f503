# SPDX-License-Identifier: MIT
"""Moulds: solids of revolution whose side is the inner face of a layer as cast, enlarged by the shrinkage."""

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.meshing.plane_mesh import gmsh_session

__all__ = ["Mould", "mould_files"]

_STRAIGHT = 1e-7  # of the size: deviation of a profile from a line
_PER_TURN = 72  # triangles of the STL file around the axis
_POINTS = 120  # of a spline between two joints


@dataclass(frozen=True)
class Mould:
    """A mould.

    Attributes:
        layers: Layers that are cast on it, from inside to outside.
        profile: Radius and height of its side from the low to the high end, shape (k, 2), mm.
        joints: Numbers of the points between which the profile is smooth, without its ends.
    """

    layers: tuple[str, ...]
    profile: FloatArray
    joints: tuple[int, ...] = ()

    @property
    def is_conical(self) -> bool:
        """Whether its side is a cylinder or a cone."""
        (r0, z0), (r1, z1) = self.profile[[0, -1]]
        across = np.array([z1 - z0, r0 - r1]) / np.hypot(z1 - z0, r1 - r0)
        distance = np.abs((self.profile - self.profile[0]) @ across)
        return bool(distance.max() < _STRAIGHT * np.ptp(self.profile))

    @property
    def side(self) -> FloatArray:
        """Its profile by as few points as describe it, shape (k, 2), mm."""
        return self.profile[[0, -1]] if self.is_conical else self.profile


def mould_files(mould: Mould) -> dict[str, bytes]:
    """Return the content of the STEP and the STL file of a mould, by suffix.

    Raises:
        InputError: The mould cannot be built.
    """
    with tempfile.TemporaryDirectory() as folder, gmsh_session() as gmsh:
        _build(gmsh, mould)
        gmsh.model.occ.synchronize()
        gmsh.option.setNumber("Mesh.MeshSizeFromCurvature", _PER_TURN)
        gmsh.option.setNumber("Mesh.Binary", 1)
        files = {}
        for suffix in (".step", ".stl"):
            path = Path(folder) / f"mould{suffix}"
            if suffix == ".stl":
                gmsh.model.mesh.generate(2)
            with _without_output():
                gmsh.write(str(path))
            files[suffix] = path.read_bytes()
    return files


@contextmanager
def _without_output() -> Iterator[None]:
    """Discard what the STEP writer prints, which no option turns off."""
    sys.stdout.flush()
    kept = os.dup(1)
    try:
        with open(os.devnull, "wb") as nothing:
            os.dup2(nothing.fileno(), 1)
        yield
    finally:
        os.dup2(kept, 1)
        os.close(kept)


def _build(gmsh: Any, mould: Mould) -> None:
    """Add the solid: exact for cylinders and cones, with splines between joints for other profiles."""
    occ, profile = gmsh.model.occ, mould.side
    joints = () if mould.is_conical else mould.joints
    joints = (0, *joints, len(profile) - 1)
    points = {i: occ.addPoint(profile[i, 0], 0.0, profile[i, 1]) for i in joints}
    lines = []
    for start, end in pairwise(joints):
        inside = np.unique(np.linspace(start, end, _POINTS).round().astype(int))[1:-1]
        between = [occ.addPoint(profile[i, 0], 0.0, profile[i, 1]) for i in inside]
        ends = points[start], points[end]
        lines.append(occ.addSpline([ends[0], *between, ends[1]]) if between else occ.addLine(*ends))
    lines += _closing(occ, profile, points[0], points[len(profile) - 1])
    face = occ.addPlaneSurface([occ.addCurveLoop(lines)])
    occ.revolve([(2, face)], 0, 0, 0, 0, 0, 1, 2 * np.pi)
    occ.remove([(2, face)], recursive=True)


def _closing(occ: Any, profile: FloatArray, first: int, last: int) -> list[int]:
    """Lines from the last point of the profile along the axis to its first one."""
    scale = _STRAIGHT * np.ptp(profile)
    ends = []
    for (radius, height), tag in ((profile[-1], last), (profile[0], first)):
        on_axis = tag if radius < scale else occ.addPoint(0.0, 0.0, height)
        ends.append((tag, on_axis))
    (last, high), (first, low) = ends
    pairs = [(last, high), (high, low), (low, first)]
    return [occ.addLine(a, b) for a, b in pairs if a != b]
