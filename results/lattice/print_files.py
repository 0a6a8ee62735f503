# SPDX-License-Identifier: MIT
"""What a printer is given: centre lines with normals (VTP, CSV), motion code, and the lattice's surface."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.lattice.lattice_surface import lattice_surface
from annelid.geometry.printing.motion_code import motion_code
from annelid.geometry.printing.tool_path import ToolPath
from annelid.results.atomic import write_atomically
from annelid.results.fields.surfaces import Surface, stl
from annelid.results.fields.vtk_files import lines_file

LINES_VTP, LINES_CSV, PROGRAM, SURFACE = "centre_lines.vtp", "centre_lines.csv", "program.nc", "lattice.stl"
_KINDS = ("strut", "ring", "plate")
_HEAD = "line,order,kind,width_mm,x_mm,y_mm,z_mm,nx,ny,nz"
_LONGEST = 0.05  # rad between points of a line


def write_print_files(path: ToolPath, folder: Path, title: str) -> list[Path]:
    """Write the files of a tool path into a folder, over those of an earlier one, and return their paths."""
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


def centre_lines(path: ToolPath) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Return points on the surface of all lines of a layer, normals there, and how many points each has.

    Rings and plates are told by the lines that fill them.
    """
    fine = [_finely(line.points) for line in path.lines]
    spots = path.lattice.chart.place(np.concatenate(fine))
    return spots.position, spots.normal, np.array([len(points) for points in fine])


def _finely(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """A line of the chart with points no farther apart than the largest step."""
    step = np.linalg.norm(np.diff(points, axis=0), axis=1)
    parts = np.maximum(1, np.ceil(step / _LONGEST)).astype(np.int64)
    number = np.repeat(np.arange(len(parts)), parts)
    share = (np.arange(len(number)) - np.repeat(np.cumsum(parts) - parts, parts)) / parts[number]
    inside = points[number] + share[:, None] * (points[number + 1] - points[number])
    return np.concatenate([inside, points[-1:]])


def _table(
    path: ToolPath, points: NDArray[np.float64], normals: NDArray[np.float64], counts: NDArray[np.int64]
) -> str:
    heads = [
        f"{number},{order},{line.kind},{line.width:.6g}"
        for number, (order, line) in enumerate(zip(path.order.tolist(), path.lines, strict=True))
    ]
    owner = np.repeat(np.arange(len(counts)), counts).tolist()
    rows = [
        f"{heads[line]},{x:.6f},{y:.6f},{z:.6f},{a:.6f},{b:.6f},{c:.6f}"
        for line, (x, y, z), (a, b, c) in zip(owner, points.tolist(), normals.tolist(), strict=True)
    ]
    return "\n".join([_HEAD, *rows]) + "\n"
