# SPDX-License-Identifier: MIT
"""The content of a picture: drawn part, deformed part, labels, colour bar and camera."""

from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray, IntArray
from annelid.geometry.errors import InputError
from annelid.results.fields.harmonic_motion import drawn_amplitude, harmonic_motion
from annelid.results.fields.state_fields import FIELD_KINDS, MODE, FieldGrid, in_space
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import RunRecord, open_run
from annelid.results.folder.state_words import reference_word, state_word
from annelid.results.views.camera import Layout, choose_layout, set_camera
from annelid.results.views.colour_bar import add_arrow_ends, bar_settings, colour_range, colours, cut_text
from annelid.results.views.cutaway import OPEN_MIDDLE, CutawaySurface, cutaway_surface, whole_surface
from annelid.results.views.headline import add_headline, headline, height_of
from annelid.results.views.rendering import with_normals
from annelid.solver.display import DisplayUnits
from annelid.solver.model.harmonic_words import waves_of

_DRAWN, _DRAWN_LINE, _BACKGROUND, INK, _NO_FIELD = "#c6d0d4", "#87949b", "#ffffff", "#1d2a33", "#cfd6d9"
_NO_WALL = "#8b979d"  # not white, which means no stress
AMBIENT = 0.15
_STATIONS, _STATIONS_PER_WAVE = 120, 16  # meridians of a part that is drawn with waves around the axis
_LARGEST_WINDOW = (1280, 760)  # pixels
# The amplitude of a mode is arbitrary: largest motion in the picture over the size and over the radius of the
# part.
_MODE_OVER_SIZE, _MODE_OVER_RADIUS = 0.2, 0.3


def scene(
    pyvista: ModuleType,
    run: RunRecord | Path | str,
    field: str,
    state: int | None,
    *,
    off_screen: bool,
    with_headline: bool = False,
) -> tuple[Any, str]:
    """Return a pyvista plotter that shows a state, and a title.

    Args:
        pyvista: The module, as returned by the functions of ``rendering``.
        run: The run or its folder.
        field: Name of a nodal field, with or without its unit; ``"mode"`` displaces the state along its mode.
        state: Number of the state, by default the last; negative numbers count from the end.
        off_screen: Whether to render without a window.
        with_headline: Whether title, stage and loads stand above the parts.

    Raises:
        InputError: The state or the field was not stored.
    """
    record = run if isinstance(run, RunRecord) else open_run(run)
    file = record.field_file(state)
    arrays = read_point_arrays(file)
    grid = FieldGrid(record.body)
    name, values = _scalars(arrays, field, record.units)
    number = next(number for number, path in record.field_files.items() if path == file)
    m = _waves(record, number) if field == MODE else 0
    surface = whole_surface(grid, max(_STATIONS, _STATIONS_PER_WAVE * m)) if m else cutaway_surface(grid)
    reference = in_space(record.body.points)[grid.nodes]
    displacement = np.asarray(arrays["displacement [mm]"], dtype=float)
    labels = (reference_word(record), _word(record, number))
    if field == MODE:
        motion = np.zeros_like(displacement) if m else mode_motion(reference, arrays)
        reference, displacement = reference + displacement, motion
        labels = ("critical state", "displaced along its mode")
    drawn, deformed = surface.placement.place(reference), surface.placement.place(reference + displacement)
    shown = values[surface.placement.source]
    if m:
        motion = harmonic_motion(surface.placement, np.asarray(arrays[MODE], dtype=float), m)
        length = np.linalg.norm(motion, axis=1)
        deformed = deformed + drawn_amplitude(deformed, m) / length.max() * motion
        values = shown = length / length.max()
    lines = headline(record, number) if with_headline else []
    layout = choose_layout(drawn, deformed, opening=OPEN_MIDDLE, headline=height_of(lines))
    plotter = _plotter(pyvista, layout.window, off_screen=off_screen)
    _add_drawn(pyvista, plotter, surface, layout, drawn + layout.shift)
    _add_deformed(pyvista, plotter, surface, layout, deformed, name, values, shown)
    _add_labels(plotter, layout, drawn + layout.shift, deformed, labels)
    add_headline(pyvista, plotter, lines)
    set_camera(plotter, layout, deformed)
    return plotter, f"{record.title}: {name}"


def _waves(run: RunRecord, state: int) -> int:
    """Waves around the axis of the mode of a critical state, 0 if it is axisymmetric."""
    row = run.table.row_of(state)
    return 0 if row is None else waves_of(run.table.critical[row])


def _word(run: RunRecord, state: int) -> str:
    """What a state is called; ``"deformed"`` if it has no name of its own."""
    row = run.table.row_of(state)
    word = "" if row is None else state_word(run, row)
    return word if word not in ("", "loaded", "without load") else "deformed"


def _plotter(pyvista: ModuleType, window: tuple[int, int], *, off_screen: bool) -> Any:
    size = window if off_screen else _window_size(window)
    plotter = pyvista.Plotter(off_screen=off_screen, window_size=size, lighting="light kit")
    plotter.set_background(_BACKGROUND)
    return plotter


def _window_size(size: tuple[int, int]) -> tuple[int, int]:
    """The size of a picture, reduced to the largest window if necessary; the proportions are kept."""
    scale = min(1.0, *(largest / side for largest, side in zip(_LARGEST_WINDOW, size, strict=True)))
    return round(size[0] * scale), round(size[1] * scale)


def mode_motion(reference: FloatArray, arrays: dict[str, NDArray[Any]]) -> FloatArray:
    """Return the motion along a mode, scaled for a picture, in the direction of the displacement so far.

    Args:
        reference: Drawn positions of the grid points, shape (n, 3), mm.
        arrays: The arrays of the state, which include its mode.
    """
    displacement, mode = (np.asarray(arrays[key], dtype=float) for key in ("displacement [mm]", MODE))
    position = reference + displacement
    radius = float(np.hypot(position[:, 0], position[:, 1]).max())
    amplitude = _MODE_OVER_SIZE * np.sqrt(2.0 * radius * max(float(np.ptp(position[:, 2])), 0.1 * radius))
    scale = min(amplitude, _MODE_OVER_RADIUS * radius) / np.linalg.norm(mode, axis=1).max()
    return float(scale) * (-1.0 if np.sum(mode * displacement) < 0 else 1.0) * mode


def _scalars(arrays: dict[str, NDArray[Any]], field: str, units: DisplayUnits) -> tuple[str, FloatArray]:
    """Return the label of a field and one number per node, in the unit that is shown."""
    known = {_bare(name): name for name in arrays}
    bare = _bare(field)
    if bare not in known:
        raise InputError(
            f"field {field!r}: not among the fields of this state; available: {', '.join(known)}."
        )
    values = np.asarray(arrays[known[bare]], dtype=float)
    if bare == MODE:
        return "amplitude of the mode (largest: 1)", _mode_amplitude(values)
    if bare == "principal stretches":
        bare, values = "largest principal stretch", values[:, 0]
    elif values.ndim == 2:
        bare, values = f"magnitude of {bare}", np.linalg.norm(values, axis=1)
    kind = FIELD_KINDS.get(_bare(field), "length")
    shown = units.unit(kind, float(np.max(np.abs(values[np.isfinite(values)]), initial=0.0)))
    return shown.label(bare), values * shown.factor


def _bare(name: str) -> str:
    return name.rpartition(" [")[0] or name


def _mode_amplitude(mode: FloatArray) -> FloatArray:
    amplitude = np.linalg.norm(mode, axis=1)
    return np.asarray(amplitude / amplitude.max())


def _mesh(pyvista: ModuleType, surface: CutawaySurface, points: FloatArray) -> Any:
    return pyvista.PolyData.from_regular_faces(points, surface.triangles)


def lines_in_front(pyvista: ModuleType, mesh: Any, outlines: IntArray, towards_camera: FloatArray) -> Any:
    """Return sharp edges of a surface, and lines such as the outlines of the regions on the cut faces."""
    lines = mesh.extract_feature_edges(
        feature_angle=40.0, boundary_edges=True, non_manifold_edges=False, manifold_edges=False
    )
    if len(outlines):
        segments = np.column_stack([np.full(len(outlines), 2), outlines]).ravel()
        lines = lines + pyvista.PolyData(mesh.points, lines=segments)
    # Shifted slightly towards the camera, because the surface would hide parts of the lines otherwise.
    return lines.translate(0.004 * np.ptp(mesh.points, axis=0).max() * towards_camera)


def _add_drawn(
    pyvista: ModuleType, plotter: Any, surface: CutawaySurface, layout: Layout, points: FloatArray
) -> None:
    mesh = _mesh(pyvista, surface, points)
    plotter.add_mesh(with_normals(mesh), color=_DRAWN, ambient=AMBIENT, smooth_shading=True)
    plotter.add_mesh(
        lines_in_front(pyvista, mesh, surface.lines, layout.towards_camera), color=_DRAWN_LINE, line_width=1.5
    )


def _add_deformed(
    pyvista: ModuleType,
    plotter: Any,
    surface: CutawaySurface,
    layout: Layout,
    points: FloatArray,
    name: str,
    values: FloatArray,
    shown: FloatArray,
) -> None:
    mesh = _mesh(pyvista, surface, points)
    mesh.point_data[name] = shown
    limits = colour_range(name, values)
    plotter.add_mesh(
        with_normals(mesh),
        scalars=name,
        cmap=colours(name),
        clim=limits,
        nan_color=_NO_WALL if "in-plane" in name else _NO_FIELD,
        ambient=AMBIENT,
        smooth_shading=True,
        scalar_bar_args=bar_settings(plotter.window_size[1], limits) | {"color": INK},
    )
    plotter.add_mesh(
        lines_in_front(pyvista, mesh, surface.lines, layout.towards_camera), color=INK, line_width=1.5
    )
    _add_title(pyvista, plotter, name + cut_text(values, limits))
    add_arrow_ends(pyvista, plotter, name, values, limits)


def _add_title(pyvista: ModuleType, plotter: Any, name: str) -> None:
    title = pyvista.Text(name, position=(plotter.window_size[0] // 2, 14))
    title.prop.font_size, title.prop.color = 34, INK
    title.prop.justification_horizontal = "center"
    plotter.add_actor(title)


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
        text_color=INK,
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
