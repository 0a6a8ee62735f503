# SPDX-License-Identifier: MIT
"""The pictures of a report, and the choice of what they show."""

import base64
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.results.fields.slack_pieces import SLACK
from annelid.results.fields.state_fields import MODE
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.state_words import state_word
from annelid.results.folder.tables import PathRecord, quantity_header
from annelid.results.report.snap_text import rest_states
from annelid.results.views.cutaway import covering_cells
from annelid.results.views.rendering import RenderingError
from annelid.results.views.state_pictures import picture
from annelid.solver.model import quantities as q

_MOST_ENDS, _MOST_MODES = 3, 4
_IN_PLANE = q.LEAST_IN_PLANE_STRESS.name
_INVISIBLE = 1e-6  # of the size of the part: smaller displacements cannot be seen


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
