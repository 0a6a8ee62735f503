# SPDX-License-Identifier: MIT
"""What stands in a picture: ghost, deformed part, labels, colour bar, camera."""

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.results.fields.state_fields import FIELD_KINDS, MODE, FieldGrid, in_space
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.views.camera import Layout, lay_out
from annelid.results.views.solids import OPEN_MIDDLE, Skin, open_skin
from annelid.solver.display import DisplayUnits

# Beyond this share of the nodes a stress is that of a corner and would take the whole colour scale.
_STRESS_SHARE = 99.5
_GHOST, _GHOST_LINE, _PAPER, _INK, _NO_FIELD = "#c6d0d4", "#87949b", "#ffffff", "#1d2a33", "#cfd6d9"
_NO_WALL = "#8b979d"  # told from the white of no stress
_AMBIENT = 0.15
_SCREEN = (1280, 760)  # pixels that a window may take
# A mode has no size of its own: it is drawn with this share of the part's size, and of its radius at most.
_MODE_SHARE, _MODE_OF_RADIUS = 0.2, 0.3


def scene(
    pyvista: ModuleType, run: RunRecord | Path | str, field: str, state: int | None, *, off_screen: bool
) -> tuple[Any, str]:
    """Return a pyvista plotter that shows a state, and a title.

    Args:
        pyvista: The module, as ``rendering`` gives it.
        run: The run or its folder.
        field: Name of a nodal field, with or without its unit; ``"mode"`` moves the state along its mode.
        state: Number of the state, from the end when negative; the last by default.
        off_screen: Whether to draw without a window.

    Raises:
        InputError: The state or the field was not kept.
    """
    record = run if isinstance(run, RunRecord) else open_run(run)
    arrays = read_point_arrays(record.field_file(state))
    grid = FieldGrid(record.body)
    name, values = _scalars(arrays, field, record.description.units)
    skin = open_skin(grid)
    reference = in_space(record.body.points)[grid.nodes]
    displacement = np.asarray(arrays["displacement [mm]"], dtype=float)
    labels = ("as drawn", "deformed")
    if field == MODE:
        reference, displacement = reference + displacement, mode_motion(reference, arrays)
        labels = ("critical state", "moved along its mode")
    drawn, deformed = skin.place(reference), skin.place(reference + displacement)
    layout = lay_out(drawn, deformed, opening=OPEN_MIDDLE)
    size = layout.window if off_screen else _on_a_laptop(layout.window)
    plotter = pyvista.Plotter(off_screen=off_screen, window_size=size, lighting="light kit")
    plotter.set_background(_PAPER)
    _add_ghost(pyvista, plotter, skin, layout, drawn + layout.shift)
    _add_deformed(pyvista, plotter, skin, layout, deformed, name, values)
    _add_labels(plotter, layout, drawn + layout.shift, deformed, labels)
    _aim(plotter, layout, deformed)
    return plotter, f"{record.title}: {name}"


def _on_a_laptop(window: tuple[int, int]) -> tuple[int, int]:
    """The size of a picture made small enough for the screen of a laptop, proportions kept."""
    share = min(1.0, *(most / size for most, size in zip(_SCREEN, window, strict=True)))
    return round(window[0] * share), round(window[1] * share)


def mode_motion(reference: FloatArray, arrays: dict[str, NDArray[Any]]) -> FloatArray:
    """Return the motion along a mode that is drawn, in the sense in which the part has moved so far.

    Args:
        reference: Drawn positions of the grid points, shape (n, 3), mm.
        arrays: The arrays of the state, its mode among them.
    """
    displacement, mode = (np.asarray(arrays[key], dtype=float) for key in ("displacement [mm]", MODE))
    place = reference + displacement
    radius = float(np.hypot(place[:, 0], place[:, 1]).max())
    size = _MODE_SHARE * np.sqrt(2.0 * radius * max(float(np.ptp(place[:, 2])), 0.1 * radius))
    scale = min(size, _MODE_OF_RADIUS * radius) / np.linalg.norm(mode, axis=1).max()
    return float(scale) * (-1.0 if np.sum(mode * displacement) < 0 else 1.0) * mode


def _scalars(arrays: dict[str, NDArray[Any]], field: str, units: DisplayUnits) -> tuple[str, FloatArray]:
    """Find a field by its name and convert it to one number for each node, in the unit that is shown."""
    known = {_bare(name): name for name in arrays}
    bare = _bare(field)
    if bare not in known:
        raise InputError(
            f"field {field!r}: not among the fields of this state; there are {', '.join(known)}."
        )
    values = np.asarray(arrays[known[bare]], dtype=float)
    if bare == MODE:
        return "motion in the mode, largest 1", _size_of_mode(values)
    if bare == "principal stretches":
        bare, values = "largest principal stretch", values[:, 0]
    elif values.ndim == 2:
        bare, values = f"{bare}, length", np.linalg.norm(values, axis=1)
    kind = FIELD_KINDS.get(_bare(field), "length")
    shown = units.unit(kind, float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0)))
    return shown.label(bare), values * shown.factor


def _bare(name: str) -> str:
    return name.rpartition(" [")[0] or name


def _size_of_mode(mode: FloatArray) -> FloatArray:
    size = np.linalg.norm(mode, axis=1)
    return np.asarray(size / size.max())


def _mesh(pyvista: ModuleType, skin: Skin, points: FloatArray) -> Any:
    return pyvista.PolyData.from_regular_faces(points, skin.triangles)


def _shaded(mesh: Any) -> Any:
    return mesh.compute_normals(cell_normals=False, split_vertices=True, feature_angle=35.0)


def _lines(pyvista: ModuleType, mesh: Any, skin: Skin, towards_camera: FloatArray) -> Any:
    """Sharp edges of the surface and the outlines of the regions on the cut faces."""
    lines = mesh.extract_feature_edges(
        feature_angle=40.0, boundary_edges=True, non_manifold_edges=False, manifold_edges=False
    )
    if len(skin.lines):
        segments = np.column_stack([np.full(len(skin.lines), 2), skin.lines]).ravel()
        lines = lines + pyvista.PolyData(mesh.points, lines=segments)
    # Nearer by a little, or the surface they lie in would hide parts of them.
    return lines.translate(0.004 * np.ptp(mesh.points, axis=0).max() * towards_camera)


def _add_ghost(pyvista: ModuleType, plotter: Any, skin: Skin, layout: Layout, points: FloatArray) -> None:
    mesh = _mesh(pyvista, skin, points)
    plotter.add_mesh(_shaded(mesh), color=_GHOST, ambient=_AMBIENT, smooth_shading=True)
    plotter.add_mesh(_lines(pyvista, mesh, skin, layout.towards_camera), color=_GHOST_LINE, line_width=1.5)


def _add_deformed(
    pyvista: ModuleType,
    plotter: Any,
    skin: Skin,
    layout: Layout,
    points: FloatArray,
    name: str,
    values: FloatArray,
) -> None:
    mesh = _mesh(pyvista, skin, points)
    mesh.point_data[name] = values[skin.source]
    plotter.add_mesh(
        _shaded(mesh),
        scalars=name,
        cmap=_colours(name),
        clim=_range(name, values),
        nan_color=_NO_WALL if "in-plane" in name else _NO_FIELD,
        ambient=_AMBIENT,
        smooth_shading=True,
        scalar_bar_args={
            "title": " ",  # VTK sets a title over the numbers: ours is written below
            "vertical": False,
            "position_x": 0.2,
            "position_y": 62.0 / plotter.window_size[1],
            "width": 0.6,
            "height": 110.0 / plotter.window_size[1],
            "n_labels": 5,
            "label_font_size": 32,
            "unconstrained_font_size": True,
            "color": _INK,
        },
    )
    plotter.add_mesh(_lines(pyvista, mesh, skin, layout.towards_camera), color=_INK, line_width=1.5)
    _add_title(pyvista, plotter, name)


def _add_title(pyvista: ModuleType, plotter: Any, name: str) -> None:
    title = pyvista.Text(name, position=(plotter.window_size[0] // 2, 14))
    title.prop.font_size, title.prop.color = 34, _INK
    title.prop.justification_horizontal = "center"
    plotter.add_actor(title)


def _colours(name: str) -> str:
    if "in-plane" in name:
        return "RdBu"  # compression red, tension blue, white between
    return "viridis_r" if "margin" in name else "viridis"


def _range(name: str, values: FloatArray) -> tuple[float, float]:
    finite = values[np.isfinite(values)]
    if finite.size == 0 or "in the mode" in name:
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    if "in-plane" in name:
        # Zero in the middle; as far as compression goes, however large the tension.
        reach = max(float(-np.percentile(finite, 100.0 - _STRESS_SHARE)), 0.02 * max(abs(low), high), 1e-12)
        return -reach, reach
    if "stress" in name:
        high = float(np.percentile(finite, _STRESS_SHARE))
    # A field that is the same everywhere but for rounding would show its rounding.
    if high - low < 1e-6 * max(abs(high), abs(low), 1e-12):
        low, high = low - 0.05 * (abs(low) or 1.0), high + 0.05 * (abs(high) or 1.0)
    return low, high


def _add_labels(
    plotter: Any, layout: Layout, drawn: FloatArray, deformed: FloatArray, labels: tuple[str, str]
) -> None:
    anchors = [_above(points, layout) for points in (drawn, deformed)]
    plotter.add_point_labels(
        np.array(anchors),
        list(labels),
        shape=None,
        show_points=False,
        always_visible=True,
        font_size=34,
        text_color=_INK,
        bold=False,
        justification_horizontal="center",
        justification_vertical="bottom",
    )


def _above(points: FloatArray, layout: Layout) -> FloatArray:
    across, along = points @ layout.right, points @ layout.up
    depth = points.mean(axis=0) @ layout.towards_camera
    middle = 0.5 * (across.max() + across.min())
    lift = 12.0 * layout.parallel_scale / layout.window[1]
    return middle * layout.right + (along.max() + lift) * layout.up + depth * layout.towards_camera


def _aim(plotter: Any, layout: Layout, points: FloatArray) -> None:
    reach = 4.0 * float(np.ptp(points, axis=0).max())
    plotter.enable_parallel_projection()
    plotter.camera.focal_point = layout.focal_point
    plotter.camera.position = layout.focal_point + reach * layout.towards_camera
    plotter.camera.up = layout.up
    plotter.camera.parallel_scale = layout.parallel_scale
    plotter.reset_camera_clipping_range()
    plotter.enable_anti_aliasing("msaa", multi_samples=4)
