# SPDX-License-Identifier: MIT
"""The deformed surface of a run that an invented scanner looks at."""

from dataclasses import dataclass

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.fields.state_fields import FieldGrid
from annelid.results.fields.surfaces import Surface, deformed_surface
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import RunRecord

_DISPLACEMENT = "displacement [mm]"


@dataclass(frozen=True)
class ScannedSurface:
    """A surface in the frame of the part.

    Attributes:
        points: Shape (n, 3), mm.
        triangles: Shape (t, 3); their normals point out of the material, towards the scanner.
        thickness: Thickness of the wall beneath each point, shape (n,), mm; None if it is unknown.
    """

    points: FloatArray
    triangles: IntArray
    thickness: FloatArray | None = None


def surface_of_run(
    run: RunRecord, state: int | None = None, *, name: str = "outer", behind: str = "lumen"
) -> ScannedSurface:
    """Return the deformed surface of a state of a run.

    Args:
        run: The run; the fields of the state must have been stored.
        state: Number of the state, by default the last with fields.
        name: Name of the surface.
        behind: Name of the surface on the other side of the wall, for its thickness; "" if there is none.

    Raises:
        InputError: The fields of the state were not stored, or the part has no surface of such a name.
    """
    body = run.body
    unknown = [key for key in (name, behind) if key and key not in body.surfaces]
    if unknown:
        raise InputError(f"surface '{unknown[0]}': the part has only {', '.join(sorted(body.surfaces))}")
    moved = np.asarray(read_point_arrays(run.field_file(state))[_DISPLACEMENT], dtype=np.float64)
    displacement = np.zeros((len(body.points), 3))
    displacement[FieldGrid(body).nodes] = moved
    front = deformed_surface(body, displacement, name)
    thickness = _distance(front.points, deformed_surface(body, displacement, behind)) if behind else None
    return ScannedSurface(front.points, front.triangles, thickness)


def _distance(points: FloatArray, surface: Surface) -> FloatArray:
    """Distance from points to the nearest place of a surface, mm."""
    import pyvista

    mesh = pyvista.PolyData.from_regular_faces(surface.points, surface.triangles)
    _, nearest = mesh.find_closest_cell(points, return_closest_point=True)
    return np.asarray(np.linalg.norm(nearest - points, axis=1))
