# SPDX-License-Identifier: MIT
"""The parameter plane meshed with second-order quadrilaterals by gmsh, and the gmsh session."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import numpy as np

from annelid.geometry.body import IntArray
from annelid.geometry.errors import InputError
from annelid.geometry.meshing.mapped_plane import MappedPlane

_QUAD9 = 10  # element type of gmsh; its node order is that of VTK


class PlaneMesh(NamedTuple):
    """A mesh of the parameter plane.

    Attributes:
        nodes: Grid coordinates of the nodes in half elements, shape (n, 2), whole numbers.
        cells: Nodes of each ``quad9``, shape (m, 9).
        patches: The patch (i, j) of each cell, shape (m, 2).
    """

    nodes: IntArray
    cells: IntArray
    patches: IntArray


@contextmanager
def gmsh_session() -> Iterator[Any]:
    """Yield gmsh with a new model, without output or signal handlers, and close it at the end."""
    import gmsh

    gmsh.initialize(readConfigFiles=False, interruptible=False)
    try:
        gmsh.option.setNumber("General.Terminal", 0)
        gmsh.model.add("part")
        yield gmsh
    except Exception as error:
        if type(error) is not Exception:  # gmsh raises nothing but plain exceptions
            raise
        raise InputError(
            f"mesh: the part cannot be meshed ({error}); change lengths and element sizes that are much "
            "smaller than the part",
            key="mesh",
        ) from error
    finally:
        gmsh.finalize()


def mesh_plane(mapped: MappedPlane) -> PlaneMesh:
    """Mesh the patches of a layout transfinitely.

    Patches are meshed with elements of unit size, whatever their size in mm. Thin layers then do not conflict
    with the geometric tolerance of gmsh, and all node coordinates are exact multiples of one half.
    """
    across = np.concatenate([[0], np.cumsum(mapped.columns)])
    up = np.concatenate([[0], np.cumsum(mapped.rows)])
    with gmsh_session() as gmsh:
        surfaces = _draw(gmsh.model.geo, mapped, across, up)
        gmsh.model.geo.synchronize()
        gmsh.model.mesh.generate(2)
        gmsh.model.mesh.setOrder(2)
        tags, coordinates, _ = gmsh.model.mesh.getNodes()
        blocks = [gmsh.model.mesh.getElementsByType(_QUAD9, surface)[1] for surface in surfaces.values()]
    nodes = np.rint(2 * coordinates.reshape(-1, 3)[:, :2]).astype(np.int64)
    number = np.zeros(int(tags.max()) + 1, dtype=np.int64)
    number[tags.astype(np.int64)] = np.arange(len(tags))
    cells = number[np.concatenate(blocks).astype(np.int64)].reshape(-1, 9)
    patches = np.repeat(np.array(list(surfaces)), [len(block) // 9 for block in blocks], axis=0)
    return PlaneMesh(nodes, cells, patches)


def _draw(geo: Any, mapped: MappedPlane, across: IntArray, up: IntArray) -> dict[tuple[int, int], int]:
    """Add points, lines and surfaces of all patches to gmsh; return the surface tag of each patch."""
    points: dict[tuple[int, int], int] = {}
    lines: dict[tuple[tuple[int, int], tuple[int, int]], int] = {}
    surfaces = {}

    def line(start: tuple[int, int], end: tuple[int, int]) -> int:
        for i, j in (start, end):
            if (i, j) not in points:
                points[i, j] = geo.addPoint(float(across[i]), float(up[j]), 0.0)
        if (start, end) not in lines:
            lines[start, end] = geo.addLine(points[start], points[end])
            count = mapped.columns[start[0]] if start[1] == end[1] else mapped.rows[start[1]]
            geo.mesh.setTransfiniteCurve(lines[start, end], int(count) + 1)
        return lines[start, end]

    for i, j in mapped.regions:
        low, high = line((i, j), (i + 1, j)), line((i, j + 1), (i + 1, j + 1))
        left, right = line((i, j), (i, j + 1)), line((i + 1, j), (i + 1, j + 1))
        surfaces[i, j] = geo.addPlaneSurface([geo.addCurveLoop([low, right, -high, -left])])
        geo.mesh.setTransfiniteSurface(surfaces[i, j])
        geo.mesh.setRecombine(2, surfaces[i, j])
    return surfaces
