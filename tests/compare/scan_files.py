# SPDX-License-Identifier: MIT
"""Small scan files of an ellipsoid, written by other libraries than those that read them."""

import meshio
import numpy as np

from annelid.results.views.rendering import pyvista_off_screen

HALF_AXES = np.array([10.0, 12.0, 20.0])  # mm


def ellipsoid(fineness=24):
    """An ellipsoid of half axes 10, 12 and 20 mm as a mesh of pyvista, with an intensity at the points."""
    mesh = pyvista_off_screen().Sphere(radius=1.0, theta_resolution=fineness, phi_resolution=fineness)
    mesh.points = np.asarray(mesh.points, dtype=float) * HALF_AXES
    normals = mesh.points / HALF_AXES**2
    mesh.clear_data()
    mesh.point_data.active_normals = normals / np.linalg.norm(normals, axis=1)[:, None]
    mesh["intensity"] = np.arange(mesh.n_points, dtype=float)
    return mesh


def write_small_files(folder):
    """Write files of all formats; return their paths."""
    mesh = ellipsoid(12)
    points, faces, normals = np.asarray(mesh.points), mesh.regular_faces, np.asarray(mesh.active_normals)
    table = np.column_stack([points, normals, mesh["intensity"]])
    mesh.save(folder / "packed.vtp")  # before the others, because saving as PLY replaces the normals
    mesh.save(folder / "ascii.vtp", binary=False)
    mesh.save(folder / "binary.ply")
    mesh.save(folder / "ascii.ply", binary=False)
    mesh.save(folder / "binary.stl")
    mesh.save(folder / "ascii.stl", binary=False)
    meshio.Mesh(points, [("triangle", faces)]).write(folder / "mesh.obj")
    lines = [
        *("v {:.8g} {:.8g} {:.8g}".format(*point) for point in points),
        *("vn {:.8g} {:.8g} {:.8g}".format(*normal) for normal in normals),
        *("f {0}//{0} {1}//{1} {2}//{2}".format(*(face + 1)) for face in faces),
    ]
    (folder / "normals.obj").write_text("mtllib other.mtl\n" + "\n".join(lines) + "\n")
    np.savetxt(folder / "points.xyz", points)
    np.savetxt(folder / "bare.txt", table, fmt="%.8g")
    names = "x_mm,y_mm,z_mm,nx,ny,nz,intensity"
    np.savetxt(folder / "named.csv", table, fmt="%.8g", delimiter=",", header=names, comments="")
    return sorted(path for path in folder.iterdir() if path.is_file())
