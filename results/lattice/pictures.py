# SPDX-License-Identifier: MIT
"""Pictures of lattices: a lattice on its part, and a tool path."""

from itertools import pairwise
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np

from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.chart import PERIOD, RevolutionChart
from annelid.geometry.lattice.lattice_surface import lattice_surface
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.tool_path import ToolPath
from annelid.results.atomic import write_atomically
from annelid.results.figures.svg_style import ACCENT, INK
from annelid.results.views.rendering import png_bytes, pyvista_off_screen, with_normals

if TYPE_CHECKING:
    pass

_BASE = "#ece4d6"
_WINDOW = (1100, 1000)


def lattice_picture(lattice: Lattice, out: Path) -> Path:
    """Draw a lattice on its surface and write the picture as a PNG file.

    Raises:
        RenderingError: Pictures cannot be rendered on this machine.
    """
    pyvista = pyvista_off_screen()
    plotter = _plotter(pyvista, lattice)
    surface = lattice_surface(lattice)
    mesh = pyvista.PolyData.from_regular_faces(surface.points, surface.triangles)
    mesh = mesh.clean(tolerance=1e-7, absolute=True)
    plotter.add_mesh(with_normals(mesh), color=ACCENT, ambient=0.15, smooth_shading=True)
    return write_atomically(out, png_bytes(plotter, compression=9))


def path_picture(path: ToolPath, out: Path) -> Path:
    """Draw the first layer of a tool path, coloured by the printed length, and write a PNG file.

    Raises:
        RenderingError: Pictures cannot be rendered on this machine.
    """
    pyvista = pyvista_off_screen()
    plotter = _plotter(pyvista, path.lattice)
    printed = [move for move in path.moves if move.layer == 0 and move.printing]
    lines = _lines(pyvista, [move.poses.position for move in printed])
    steps = [np.linalg.norm(np.diff(move.poses.position, axis=0), axis=1) for move in printed]
    # The printed length continues from line to line.
    lines.point_data["printed"] = np.cumsum(np.concatenate([np.append(0.0, step) for step in steps])) / 1000.0
    bar = {
        "title": " ",  # VTK writes the title over the numbers, so it is added separately
        "n_labels": 3,
        "fmt": "%.1f",
        "color": INK,
        "label_font_size": 24,
        "unconstrained_font_size": True,
        "position_x": 0.2,
        "width": 0.6,
        "height": 0.07,
        "position_y": 0.01,
    }
    plotter.add_mesh(
        lines,
        scalars="printed",
        cmap="viridis",
        line_width=4.0,
        render_lines_as_tubes=True,
        scalar_bar_args=bar,
    )
    title = "first layer: printed length [m]; dots: the nozzle is lowered"
    plotter.add_text(title, position=(0.16, 0.072), viewport=True, font_size=11, color=INK)
    starts = pyvista.PolyData(np.array(_lowered_positions(path)))
    plotter.add_mesh(starts, color=INK, point_size=9.0, render_points_as_spheres=True)
    plotter.camera.parallel_scale *= 1.1
    _move_up(plotter, 0.06)
    return write_atomically(out, png_bytes(plotter, compression=9))


def _lowered_positions(path: ToolPath) -> list[FloatArray]:
    """Positions at which the nozzle is lowered in the first layer: at its first line and after every lift."""
    first = [move for move in path.moves if move.layer == 0]
    after = [move for before, move in pairwise(first) if before.lifted]
    return [move.poses.position[0] for move in (first[0], *after)]


def _plotter(pyvista: ModuleType, lattice: Lattice) -> Any:
    """A plotter with the surface under the lattice, seen from the side and slightly from above."""
    plotter = pyvista.Plotter(off_screen=True, window_size=_WINDOW, lighting="light kit")
    plotter.set_background("#ffffff")
    low, high = lattice.heights
    base = _base_surface(pyvista, lattice, low if lattice.side == "outside" else (low + high) / 2)
    plotter.add_mesh(base, color=_BASE, ambient=0.2, smooth_shading=True)
    points = np.asarray(base.points)
    tall = np.ptp(points[:, 2]) > np.ptp(points[:, 0])
    middle = (points.max(axis=0) + points.min(axis=0)) / 2
    towards = np.array([0.35, -1.0, 0.35])
    towards /= np.linalg.norm(towards)
    reach = float(np.linalg.norm(np.ptp(points, axis=0)))
    plotter.enable_parallel_projection()
    plotter.camera_position = [middle + 3.0 * reach * towards, middle, (0.0, 0.0, 1.0)]
    plotter.camera.parallel_scale = (0.6 if tall else 0.55) * max(np.ptp(points[:, 2]), np.ptp(points[:, 0]))
    return plotter


def _move_up(plotter: Any, fraction: float) -> None:
    """Move the content of the picture up by a fraction of its height."""
    camera = plotter.camera
    down = 2.0 * fraction * camera.parallel_scale * np.array([0.0, 0.0, 1.0])
    camera.position, camera.focal_point = (np.array(p) - down for p in (camera.position, camera.focal_point))


def _base_surface(pyvista: ModuleType, lattice: Lattice, height: float) -> Any:
    """The whole surface under the lattice, slightly lowered so that it does not hide the lattice."""
    chart = lattice.chart
    v = np.linspace(chart.low, chart.high, 181)
    if isinstance(chart, RevolutionChart):  # evenly along the meridian, poles and necks included
        low, high = chart.arc_at(np.array([chart.low, chart.high])).tolist()
        v = chart.v_at_arc(np.linspace(low, high, 181))
    u = np.linspace(0.0, PERIOD, 181)
    grid = np.stack(np.meshgrid(u, v, indexing="ij"), axis=-1).reshape(-1, 2)
    position = chart.place(grid, height - 0.02 * lattice.height).position.reshape(len(u), len(v), 3)
    base = pyvista.StructuredGrid(*np.moveaxis(position[:, :, None], -1, 0))
    return base.extract_surface(algorithm="dataset_surface")


def _lines(pyvista: ModuleType, lines: list[FloatArray]) -> Any:
    counts = np.array([len(line) for line in lines])
    starts = np.cumsum(counts) - counts
    cells = [np.concatenate([[n], np.arange(n) + start]) for n, start in zip(counts, starts, strict=True)]
    return pyvista.PolyData(np.concatenate(lines), lines=np.concatenate(cells))
