# SPDX-License-Identifier: MIT
"""The pictures and figures of a report, and the choice of what they show."""

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from annelid.results.fields.slack_pieces import SLACK
from annelid.results.fields.state_fields import MODE
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.figures.load_curves import load_curve, load_paths, load_reverses, response_quantity
from annelid.results.figures.load_ribbons import load_ribbons
from annelid.results.figures.load_titles import distinct_loads
from annelid.results.figures.path_figures import StageSpan, SvgFigure, path_curve, stage_spans, takes_time
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.run_records import Verdict
from annelid.results.folder.state_words import state_word
from annelid.results.folder.tables import PathRecord, quantity_header
from annelid.results.report.snap_text import rest_states
from annelid.results.views.cutaway import covering_cells
from annelid.results.views.rendering import RenderingError
from annelid.results.views.state_pictures import picture
from annelid.solver.model import quantities as q
from annelid.solver.model.loads import LoadKind, load_kind

_MOST_PANELS, _MOST_STAGES, _MOST_ENDS, _MOST_MODES = 6, 3, 3, 4
_IN_PLANE = q.LEAST_IN_PLANE_STRESS.name
_CONSTANT = 1e-9  # of the largest value: smaller changes of a load are rounding
_INVISIBLE = 1e-6  # of the size of the part: smaller displacements cannot be seen
_PREFERRED = (
    q.WAVE_VOLUME.name,
    q.OCCLUSION.name,
    q.MEAN_RADIAL_EXPANSION.name,
    q.LARGEST_RADIAL_CONTRACTION.name,
    q.AXIAL_SHORTENING.name,
    q.LUMEN_VOLUME.name,
    q.PEAK_STRESS.name,
    q.LARGEST_STRETCH.name,
    q.MINIMUM_WALL_THICKNESS.name,
    q.LARGEST_TRUE_FIELD.name,
    q.BREAKDOWN_MARGIN.name,
    q.TEARING_MARGIN.name,
)


def pictures(run: RunRecord) -> tuple[list[dict[str, Any]], str]:
    """Render the working state with several fields, and the ends of other stages with one field.

    Returns:
        Pictures as data URLs with captions, and a remark if pictures are missing or show another state, else
        an empty text.
    """
    files = run.field_files
    if not files:
        return [], "The fields of this run were not stored, so there are no pictures of the deformed part."
    main, note = main_state(run)
    chosen = [(main, field) for field in _chosen_fields(run, main)]
    chosen += [(state, _IN_PLANE) for state in _most_compressed(run.table, files)]
    others = [state for state in _deformed_ends(run) if state != main]
    chosen += [(state, chosen[0][1]) for state in others[:_MOST_ENDS]]
    try:
        return [_picture(run, state, field) for state, field in chosen], note
    except RenderingError as reason:
        return [], f"Pictures could not be rendered. {reason}"


def mode_pictures(run: RunRecord) -> list[dict[str, Any]]:
    """Render the modes of the critical points whose fields were stored, with the numbers of the points."""
    modes: list[dict[str, Any]] = []
    for number, point in enumerate(run.critical_points, start=1):
        file = run.field_files.get(point.state)
        if file is None or MODE not in read_point_arrays(file) or len(modes) == _MOST_MODES:
            continue
        title = f"Mode at critical point {number} ({point.kind}, state {point.state})"
        caption = (
            f"{title}: the critical state in grey, and displaced along the mode."
            " The amplitude of a mode is arbitrary; it is enlarged here."
        )
        modes.append(_image(run, point.state, MODE, caption))
    return modes


def rest_pictures(run: RunRecord) -> list[dict[str, Any]]:
    """Render the shapes of a bistable part without load, coloured by the displacement from the first one."""
    return [_image(run, state, "displacement", caption) for state, caption in rest_states(run)]


def _image(run: RunRecord, state: int, field: str, caption: str) -> dict[str, Any]:
    content = base64.b64encode(picture(run, field=field, state=state)).decode()
    return {"source": f"data:image/png;base64,{content}", "caption": caption}


def curves(table: PathRecord, verdicts: Sequence[Verdict]) -> list[dict[str, Any]]:
    """Draw the main quantities against the load of each stage that changes one.

    If there are many such stages, the whole path is drawn, stage after stage.
    """
    stages = stage_spans(table)
    spans: list[StageSpan | None] = list(stages)
    if not spans:
        return []
    timed = {span.stage for span in stages if takes_time(table, span)}
    paths = load_paths(table, [span for span in stages if span.stage not in timed])
    groups = []
    if paths:
        large = [load_curve(table, path, name=f"load-curve{i}") for i, path in enumerate(paths)]
        groups.append(
            {"heading": "Load curves", "large_figures": [inline_svg(f) for f in large], "figures": []}
        )
    responses = {
        span.stage: response_quantity(table, path.spans)
        for path in paths
        for span in path.spans
        if load_reverses(table, span)
    }
    groups += [_timed_loads(table, span, verdicts) for span in stages if span.stage in timed]
    if len(spans) > 1 and not timed:
        groups.append(_group("Loads along the path", table, distinct_loads(table), None, verdicts, "loads"))
    if len(spans) > _MOST_STAGES:
        spans = [None]
    for number, span in enumerate(spans):
        heading = "The whole path" if span is None else f"Stage “{span.stage}”"
        names = _chosen_quantities(table, verdicts, span)
        abscissa = "" if span is None else responses.get(span.stage, "")
        if span is not None and span.stage in timed:
            abscissa = q.TIME.name
        names = [name for name in names if name != abscissa]
        groups.append(_group(heading, table, names, span, verdicts, f"stage{number}", abscissa))
    return groups


def _timed_loads(table: PathRecord, span: StageSpan, verdicts: Sequence[Verdict]) -> dict[str, Any]:
    """Draw the loads of a stage over its time, those of one kind together."""
    values = {name: np.nan_to_num(table[name][span.rows]) for name in table.loads}
    changing = [name for name, v in values.items() if np.ptp(v) > _CONSTANT * np.abs(v).max()]
    kinds: dict[LoadKind, dict[str, str]] = {}
    for name in changing:
        kind = load_kind(name)
        assert kind is not None
        kinds.setdefault(kind, {})[kind.entry(name)] = name
    rows = {kind: loads for kind, loads in kinds.items() if len(loads) > 1}
    alone = [name for kind, loads in kinds.items() if kind not in rows for name in loads.values()]
    number = table.stages.index(span.stage)
    group = _group(
        f"Loads of stage “{span.stage}”", table, alone, span, verdicts, f"loads{number}", q.TIME.name
    )
    ribbons = [
        load_ribbons(table, kind.label, loads, span, name=f"ribbons{number}-{i}")
        for i, (kind, loads) in enumerate(rows.items())
    ]
    return group | {"large_figures": [inline_svg(figure) for figure in ribbons]}


def main_state(run: RunRecord) -> tuple[int, str]:
    """The working state, or, if the part has its drawn shape there, the end of another stage.

    Returns:
        Number of the state, and a remark if it is not the last, else an empty text.
    """
    last, ends = max(run.field_files), _deformed_ends(run)
    state = run.working_state if run.working_state in ends else next(iter(ends), last)
    if state == last:
        return last, ""
    outcome, waves = run.outcome, {window.stage for window in run.description.cycles}
    if outcome is not None and outcome.working_stage in waves and state == run.working_state:
        return state, f"State {state} is shown, in which the loads of the waves are largest."
    reason = "no load acts" if last in ends else "the part has its drawn shape"
    return state, f"In the last state {reason}, so state {state} is shown instead."


def _deformed_ends(run: RunRecord) -> list[int]:
    """States at the ends of stages, and the last, whose displacement can be seen; the latest first."""
    files, table = run.field_files, run.table
    visible = _INVISIBLE * float(np.ptp(run.body.points, axis=0).max())
    ends = {int(table["state"][row]) for row in table.stage_ends.values()} | {run.working_state}
    chosen = sorted(files.keys() & (ends | {max(files)}), reverse=True)
    return [state for state in chosen if np.abs(displacement_of(run, state)).max() > visible]


def displacement_of(run: RunRecord, state: int) -> NDArray[np.float64]:
    """Return the stored displacement of a state, one row for each point of its grid, mm."""
    return np.asarray(read_point_arrays(run.field_file(state))["displacement [mm]"], dtype=float)


def _chosen_fields(run: RunRecord, state: int) -> list[str]:
    arrays = read_point_arrays(run.field_file(state))
    fields = ["largest principal stress", "principal stretches"]
    true_field = arrays.get("true field [kV/mm]")
    if true_field is not None and np.any(true_field):
        fields[1:] = ["true field", q.BREAKDOWN_MARGIN.name]
        if not np.isfinite(arrays[quantity_header(q.BREAKDOWN_MARGIN)]).any():
            fields.pop()
    if np.isfinite(arrays.get(quantity_header(q.TEARING_MARGIN), np.nan)).any():
        fields.append(q.TEARING_MARGIN.name)
    folded = {f.name: arrays.get(quantity_header(f)) for f in q.FOLDED_LENGTHS}
    fields += [name for name, values in folded.items() if values is not None and float(values.max()) > SLACK]
    known = {name.rpartition(" [")[0] for name in arrays}
    return [field for field in fields if field in known] or ["displacement"]


def _most_compressed(table: PathRecord, files: dict[int, Path]) -> list[int]:
    """The state with the largest compressed wall fraction among those with fields; empty if it is zero."""
    fractions = dict(
        zip(table["state"].astype(int), table.columns.get(q.COMPRESSED_WALL.name, ()), strict=False)
    )
    worst = max(files, key=lambda state: (fractions.get(state, 0.0), state))
    return [worst] if fractions.get(worst, 0.0) > 0.0 and _has_in_plane_stress(files[worst]) else []


def _has_in_plane_stress(file: Path) -> bool:
    return quantity_header(q.LEAST_IN_PLANE_STRESS) in read_point_arrays(file)


def _picture(run: RunRecord, state: int, field: str) -> dict[str, Any]:
    row = run.table.row_of(state)
    stage = "" if row is None else f", {state_word(run, row)} (stage “{run.table.stages[row]}”)"
    title = "largest principal stretch" if field == "principal stretches" else field
    caption = f"{title.capitalize()} in state {state}{stage}."
    if field == _IN_PLANE:
        caption += " Red is compression, under which a thin wall becomes slack or wrinkles. The darkest blue "
        caption += "includes all larger tensions. Grey regions are not walls."
    elif "stress" in field:
        caption += " The colour scale ends at the 99.5th percentile of the nodal values."
    if covering_cells(run.body).size:
        caption += " The layers that cover the electrodes are cut back."
    return _image(run, state, field, caption)


def _chosen_quantities(table: PathRecord, verdicts: Sequence[Verdict], span: StageSpan | None) -> list[str]:
    rows = slice(None) if span is None else span.rows
    required = {v.quantity: None for v in verdicts}
    names = [n for n in required | dict.fromkeys(_PREFERRED) if n in table.quantities]
    return [n for n in names if _is_drawn(table[n][rows], n in required)][:_MOST_PANELS]


def _is_drawn(values: NDArray[np.float64], required: bool) -> bool:
    """Whether a quantity is drawn: it has a requirement or it varies."""
    finite = values[np.isfinite(values)]
    return finite.size > 1 and (required or bool(np.ptp(finite) > 1e-9 * np.abs(finite).max()))


def _group(
    heading: str,
    table: PathRecord,
    names: Sequence[str],
    span: StageSpan | None,
    verdicts: Sequence[Verdict],
    prefix: str,
    abscissa: str = "",
) -> dict[str, Any]:
    figures = [
        path_curve(table, quantity, span, abscissa=abscissa, verdicts=verdicts, name=f"{prefix}-{i}")
        for i, quantity in enumerate(names)
    ]
    return {"heading": heading, "large_figures": [], "figures": [inline_svg(figure) for figure in figures]}


def inline_svg(figure: SvgFigure) -> dict[str, Any]:
    """Return a figure for a page."""
    return {"svg": Markup(figure.svg), "caption": figure.caption}
