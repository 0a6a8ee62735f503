# SPDX-License-Identifier: MIT
"""Files for a printer: centre lines with normals (VTP, CSV), motion code, and the surface of the lattice."""

from pathlib import Path

import numpy as np

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.lattice.lattice_surface import lattice_surface
from annelid.geometry.printing.motion_code import motion_code
from annelid.geometry.printing.tool_path import ToolPath
from annelid.results.atomic import write_atomically
from annelid.results.fields.surfaces import Surface, stl
from annelid.results.fields.vtk_files import lines_file

LINES_VTP, LINES_CSV, PROGRAM, SURFACE = "centre_lines.vtp", "centre_lines.csv", "program.nc", "lattice.stl"
_KINDS = ("strut", "ring", "plate")
_CSV_HEADER = "line,order,kind,width_mm,x_mm,y_mm,z_mm,nx,ny,nz"
_LARGEST_STEP = 0.05  # rad between points of a line


def write_print_files(path: ToolPath, folder: Path, title: str) -> list[Path]:
    """Write the files of a tool path into a folder, replacing existing files, and return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    points, normals, counts = centre_lines(path)
    width = np.array([line.width for line in path.lines])
    kind = np.array([_KINDS.index(line.kind) for line in path.lines])
    by_line = {"order": path.order, "width [mm]": width, "kind": kind}
    surface = lattice_surface(path.lattice)
    contents: dict[str, bytes | str] = {
        LINES_VTP: lines_file(points, counts, {"normal": normals}, by_line),
        LINES_CSV: _table(path, points, normals, counts),
        PROGRAM: motion_code(path, title),
        SURFACE: stl(Surface(surface.points, surface.triangles)),
    }
    return [write_atomically(folder / name, content) for name, content in contents.items()]


def centre_lines(path: ToolPath) -> tuple[FloatArray, FloatArray, IntArray]:
    """Return the points of all lines of a layer, the surface normals, and the number of points per line.

    Rings and plates are represented by the lines that fill them.
    """
    refined = [_refined(line.points) for line in path.lines]
    placed = path.lattice.chart.place(np.concatenate(refined))
    return placed.position, placed.normal, np.array([len(points) for points in refined])


def _refined(points: FloatArray) -> FloatArray:
    """Refine a line of the chart so that its points are not farther apart than the largest step."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    parts = np.maximum(1, np.ceil(step / _LARGEST_STEP)).astype(np.int64)
    number = np.repeat(np.arange(len(parts)), parts)
    fraction = (np.arange(len(number)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[number]
    inside = points[number] + fraction[:, None] * (points[number + 1] - points[number])
    return np.concatenate([inside, points[-1:]])


def _table(path: ToolPath, points: FloatArray, normals: FloatArray, counts: IntArray) -> str:
    prefixes = [
        f"{number},{order},{line.kind},{line.width:.6g}"
        for number, (order, line) in enumerate(zip(path.order.tolist(), path.lines, strict=True))
    ]
    numbers = np.repeat(np.arange(len(counts)), counts).tolist()
    rows = [
        f"{prefixes[line]},{x:.6f},{y:.6f},{z:.6f},{a:.6f},{b:.6f},{c:.6f}"
        for line, (x, y, z), (a, b, c) in zip(numbers, points.tolist(), normals.tolist(), strict=True)
    ]
    return "\n".join([_CSV_HEADER, *rows]) + "\n"
