# SPDX-License-Identifier: MIT
"""Which pictures and figures a report shows."""

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from annelid.geometry.body import Body
from annelid.results.fields.sections import cross_sections, meridian_sections, most_changed_height
from annelid.results.fields.state_fields import MODE, FieldGrid
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.figures.load_curves import load_curve, load_paths, turns_back
from annelid.results.figures.path_figures import (
    Figure,
    Span,
    driven_stages,
    path_curve,
    profile_figure,
    section_figure,
)
from annelid.results.folder.records import Verdict
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import PathTable
from annelid.results.views.rendering import CannotDraw
from annelid.results.views.views import picture
from annelid.solver.model import quantities as q

# The inner surface first: of the lumen, or of whatever lies innermost.
_SURFACES = ("lumen", "inner", "outer")
_MOST_PANELS, _MOST_STAGES, _MOST_ENDS, _MOST_MODES = 6, 3, 3, 4
_IN_PLANE = "least in-plane stress"
_REST = 1e-6  # of the size of the part: motion that nobody could see
_PREFERRED = (
    q.MEAN_RADIAL_EXPANSION.name,
    q.LARGEST_RADIAL_CONTRACTION.name,
    q.AXIAL_SHORTENING.name,
    q.LUMEN_VOLUME.name,
    q.PEAK_STRESS.name,
    q.LARGEST_STRETCH.name,
    q.MINIMUM_WALL_THICKNESS.name,
    q.LARGEST_TRUE_FIELD.name,
    q.BREAKDOWN_MARGIN.name,
)


def pictures(run: RunRecord) -> tuple[list[dict[str, Any]], str]:
    """Draw the last state by several fields and the ends of earlier stages by one.

    Returns:
        Pictures as data addresses with captions, and a sentence on what is missing or shown instead (empty:
        nothing).
    """
    kept = run.field_files
    if not kept:
        return [], "The fields of this run were not kept, so there are no pictures of the deformed part."
    shown, note = _most_telling(run)
    wanted = [(shown, field) for field in _fields_worth_showing(run, shown)]
    wanted += [(state, _IN_PLANE) for state in _most_compressed(run.table, kept)]
    wanted += [(state, wanted[0][1]) for state in _earlier_ends(run.table, kept, shown)]
    try:
        return [_picture(run, state, field) for state, field in wanted], note
    except CannotDraw as reason:
        return [], f"Pictures are left out. {reason}"


def mode_pictures(run: RunRecord) -> list[dict[str, Any]]:
    """Draw the modes of the critical points whose fields were kept, numbered as the points are."""
    drawn: list[dict[str, Any]] = []
    for number, point in enumerate(run.critical_points, start=1):
        kept = run.field_files.get(point.state)
        if kept is None or MODE not in read_point_arrays(kept) or len(drawn) == _MOST_MODES:
            continue
        content = base64.b64encode(picture(run, field=MODE, state=point.state)).decode()
        caption = f"Mode of point {number}, the {point.kind} in state {point.state}: the part as it stands "
        caption += "there, and moved along the mode. A mode has no size of its own; it is drawn enlarged."
        drawn.append({"source": f"data:image/png;base64,{content}", "caption": caption})
    return drawn


def curves(table: PathTable, verdicts: Sequence[Verdict]) -> list[dict[str, Any]]:
    """Draw the quantities that matter against the load of each stage that moves one.

    A path of many such stages is drawn as a whole, stage after stage.
    """
    driven = driven_stages(table)
    spans: list[Span | None] = list(driven)
    if not spans:
        return []
    paths = load_paths(table, driven)
    groups = []
    if paths:
        large = [load_curve(table, path, name=f"turn{i}") for i, path in enumerate(paths)]
        heading = "The load against what grows"
        groups.append({"heading": heading, "large": [_shown(d) for d in large], "drawings": []})
    growth = {span.stage: path.growth for path in paths for span in path.spans if turns_back(table, span)}
    if len(spans) > 1:
        loads = [name for name in table.loads if np.ptp(np.nan_to_num(table[name])) > 0]
        groups.append(_group("The loads, stage after stage", table, loads, None, verdicts, "loads"))
    if len(spans) > _MOST_STAGES:
        spans = [None]
    for number, span in enumerate(spans):
        heading = "The whole path" if span is None else f"Stage “{span.stage}”"
        names = _quantities_worth_drawing(table, verdicts, span)
        against = "" if span is None else growth.get(span.stage, "")
        names = [name for name in names if name != against]
        groups.append(_group(heading, table, names, span, verdicts, f"stage{number}", against))
    return groups


def shapes(run: RunRecord) -> list[dict[str, Any]]:
    """Draw the profile along the axis and the cross-section of the last state."""
    drawn = []
    profile = _profile(run)
    if profile is not None:
        drawn.append(_shown(profile))
    if run.field_files:
        drawn.append(_shown(_section(run)))
    return drawn


def _most_telling(run: RunRecord) -> tuple[int, str]:
    """The state to picture: the last one, or, if it is at rest as drawn, the end of the stage before.

    Returns:
        Its number, and a sentence where it is not the last (else empty).
    """
    last = max(run.field_files)
    size = float(np.ptp(run.body.points, axis=0).max())
    for state in (last, *_earlier_ends(run.table, run.field_files, last)):
        if np.abs(_motion(run, state)).max() > _REST * size:
            break
    else:
        state = last
    if state == last:
        return last, ""
    return state, f"In the last state the part is at rest as drawn; state {state} is shown instead."


def _motion(run: RunRecord, state: int) -> NDArray[np.float64]:
    return np.asarray(read_point_arrays(run.field_file(state))["displacement [mm]"], dtype=float)


def _fields_worth_showing(run: RunRecord, state: int) -> list[str]:
    arrays = read_point_arrays(run.field_file(state))
    fields = ["largest principal stress", "principal stretches"]
    strength = arrays.get("true field [kV/mm]")
    if strength is not None and np.any(strength):
        fields[1:] = ["true field", q.BREAKDOWN_MARGIN.name]
        if not np.isfinite(arrays["breakdown margin [1]"]).any():
            fields.pop()
    known = {name.rpartition(" [")[0] for name in arrays}
    return [field for field in fields if field in known] or ["displacement"]


def _most_compressed(table: PathTable, kept: dict[int, Any]) -> list[int]:
    """The state with fields whose fraction of compressed wall is largest, if any wall is compressed."""
    shares = dict(
        zip(table["state"].astype(int), table.columns.get(q.COMPRESSED_WALL.name, ()), strict=False)
    )
    worst = max(kept, key=lambda state: (shares.get(state, 0.0), state))
    return [worst] if shares.get(worst, 0.0) > 0.0 and _has(kept[worst]) else []


def _has(file: Path) -> bool:
    return f"{_IN_PLANE} [MPa]" in read_point_arrays(file)


def _earlier_ends(table: PathTable, kept: dict[int, Any], last: int) -> list[int]:
    """States at the ends of stages before that of a state, the latest first."""
    ends = {stage: int(state) for stage, state in zip(table.stages, table["state"], strict=True)}
    return [state for state in ends.values() if state in kept and state < last][::-1][:_MOST_ENDS]


def _picture(run: RunRecord, state: int, field: str) -> dict[str, Any]:
    rows = np.flatnonzero(run.table["state"] == state)
    stage = f" (stage “{run.table.stages[rows[0]]}”)" if len(rows) else ""
    caption = f"{field.capitalize()} in state {state}{stage}."
    if field == _IN_PLANE:
        caption += " Red is compression, where a thin wall goes slack or wrinkles; full blue is any tension "
        caption += "beyond the end of the scale; grey is no wall."
    elif "stress" in field:
        caption += " The colours end at the value that 99.5 % of the nodes do not exceed."
    content = base64.b64encode(picture(run, field=field, state=state)).decode()
    return {"source": f"data:image/png;base64,{content}", "caption": caption}


def _quantities_worth_drawing(table: PathTable, verdicts: Sequence[Verdict], span: Span | None) -> list[str]:
    rows = slice(None) if span is None else span.rows
    wanted = dict.fromkeys([*(v.quantity for v in verdicts), *_PREFERRED])
    judged = {v.quantity for v in verdicts}
    return [n for n in wanted if n in table.quantities and _worth_drawing(table[n][rows], n in judged)][
        :_MOST_PANELS
    ]


def _worth_drawing(values: NDArray[np.float64], judged: bool) -> bool:
    finite = values[np.isfinite(values)]
    return finite.size > 1 and (judged or bool(np.ptp(finite) > 1e-9 * np.abs(finite).max()))


def _group(
    heading: str,
    table: PathTable,
    names: Sequence[str],
    span: Span | None,
    verdicts: Sequence[Verdict],
    prefix: str,
    against: str = "",
) -> dict[str, Any]:
    drawings = [
        path_curve(table, quantity, span, against=against, verdicts=verdicts, name=f"{prefix}-{i}")
        for i, quantity in enumerate(names)
    ]
    return {"heading": heading, "large": [], "drawings": [_shown(drawing) for drawing in drawings]}


def _shown(drawing: Figure) -> dict[str, Any]:
    return {"svg": Markup(drawing.svg), "caption": drawing.caption}


def _profile(run: RunRecord) -> Figure | None:
    table = run.table
    ends = {stage: int(state) for stage, state in zip(table.stages, table["state"], strict=True)}
    found = {stage: run.profiles(state) for stage, state in list(ends.items())[-5:]}
    surface = next((s for s in _SURFACES if any(s in p for p in found.values())), None)
    if surface is None:
        return None
    lines = {f"end of “{stage}”": p[surface] for stage, p in found.items() if surface in p}
    return profile_figure(lines, _band_spans(run.body), surface, name="profile")


def _band_spans(body: Body) -> dict[str, tuple[float, float]]:
    heights = {name: body.points[body.cells[cells]][..., -1] for name, cells in body.bands.items()}
    return {name: (float(z.min()), float(z.max())) for name, z in heights.items()}


def _section(run: RunRecord) -> Figure:
    body, grid = run.body, FieldGrid(run.body)
    displacement = np.zeros((len(body.points), 3))
    displacement[grid.nodes] = _motion(run, _most_telling(run)[0])
    if body.model == "axisymmetric":
        return section_figure(meridian_sections(body, displacement[:, [0, 2]]), ("Z", "R"), name="section")
    height = most_changed_height(body, displacement)
    drawing = section_figure(cross_sections(body, displacement, height), ("X", "Y"), name="section")
    return drawing._replace(caption=f"At height {height:.4g} mm as drawn: {drawing.caption}")
