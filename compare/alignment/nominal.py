# SPDX-License-Identifier: MIT
"""Nominal surfaces made of meshes and of the states of a run."""

from collections.abc import Mapping

import numpy as np

from annelid.compare.alignment.surface import NominalSurface
from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.fields.facets import compact, without_degenerate_triangles
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.surfaces import deformed_surface
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import RunRecord

CHORD_ERROR = 1e-4  # of the diameter


def nominal_mesh(points: FloatArray, triangles: IntArray, *, name: str = "surface") -> NominalSurface:
    """Make a nominal surface of any mesh: points are merged, triangles without area removed.

    Args:
        points: Shape (n, 3), mm.
        triangles: Shape (t, 3), with outward orientation.
        name: What it is, for sentences.

    Raises:
        InputError: A number is not finite, or no triangle has an area.
    """
    if not np.isfinite(points).all():
        raise InputError(f"{name}: some positions of its points are not finite numbers.")
    unique, number = np.unique(np.round(points, 9), axis=0, return_inverse=True)
    kept = without_degenerate_triangles(number.ravel()[triangles])
    a, b, c = np.moveaxis(unique[kept], 1, 0)
    longest = np.max([((b - a) ** 2).sum(1), ((c - b) ** 2).sum(1), ((a - c) ** 2).sum(1)], axis=0)
    kept = kept[np.linalg.norm(np.cross(b - a, c - a), axis=1) > 1e-12 * longest]
    if not len(kept):
        raise InputError(f"{name}: none of its {len(triangles)} triangles has an area.")
    return NominalSurface(*compact(unique, kept)[:2], name=name)


def nominal_surface(
    run: RunRecord,
    state: int | Mapping[int, float] | None = None,
    *,
    name: str = "outer",
    chord_error: float = CHORD_ERROR,
) -> NominalSurface:
    """Return a surface of the deformed part in a state of a run.

    Args:
        run: The run.
        state: Number of the state, by default the last; or shares of states, whose displacement is summed.
        name: Name of the surface in the body, for instance ``"outer"`` or ``"lumen"``.
        chord_error: Largest distance of the triangles from a surface of revolution, as share of its diameter;
            an axisymmetric surface is revolved with as many stations as this needs.

    Raises:
        InputError: The fields of the state were not stored, or there is no such surface.
    """
    nodes = run.body.surface_nodes(name)
    if not isinstance(state, Mapping):
        file = run.field_file(state)
        state = {number: 1.0 for number, path in run.field_files.items() if path == file}
    displacement = state_displacement(run, state)
    around = int(np.ceil(np.pi / np.arccos(1.0 - 2.0 * chord_error)))
    surface = deformed_surface(run.body, displacement, name, around=around)
    radius = float(np.hypot(*surface.points.T[:2]).max()) if len(nodes) else 0.0
    revolved = run.body.model == "axisymmetric"
    made = nominal_mesh(surface.points, surface.triangles, name=name)
    return NominalSurface(made.points, made.triangles, name, 2.0 * radius * chord_error if revolved else 0.0)


def state_displacement(run: RunRecord, shares: Mapping[int, float]) -> FloatArray:
    """Return the sum of displacements of states times their shares, shape (nodes of the body, 3), mm.

    Raises:
        InputError: The fields of a state were not stored.
    """
    grid = FieldGrid(run.body)
    displacement = np.zeros((len(run.body.points), 3))
    for state, share in shares.items():
        arrays = read_point_arrays(run.field_file(state))
        displacement[grid.nodes] += share * np.asarray(arrays["displacement [mm]"], dtype=float)
    return displacement
