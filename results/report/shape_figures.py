# SPDX-License-Identifier: MIT
"""The figures of a report that show shapes: profiles along the axis and cross-sections."""

import numpy as np

from annelid.geometry.body import Body
from annelid.results.fields.sections import cross_sections, meridian_sections, most_changed_height
from annelid.results.fields.slack_pieces import slack_pieces
from annelid.results.fields.state_fields import FieldGrid, in_meridian, in_space
from annelid.results.fields.vtk_files import read_point_arrays
from annelid.results.figures.path_figures import SvgFigure, profile_figure, section_figure
from annelid.results.figures.space_time import space_time_map
from annelid.results.figures.wave_figure import (
    chosen_stages,
    energised_electrodes,
    most_loaded_stage,
    wave_figure,
)
from annelid.results.folder.run_record import RunRecord
from annelid.results.folder.tables import quantity_header
from annelid.results.report.pictures import displacement_of, main_state
from annelid.solver.display import DisplayUnit
from annelid.solver.model.quantities import FOLDED_HOOP_LENGTH, FOLDED_LENGTHS, TIME
from annelid.solver.records import Profile

# Surfaces of the profile figure, the inner ones first.
_SURFACES = ("lumen", "inner", "outer")
_MOST_PROFILES = 5


def shapes(run: RunRecord) -> list[SvgFigure]:
    """Draw profiles along the axis at the ends of stages, and the cross-section of the main state."""
    ends = {stage: int(state) for stage, state in zip(run.table.stages, run.table["state"], strict=True)}
    figures = [
        _profile(run, ends),
        _wave(run, ends),
        _space_time(run),
        _section(run) if run.field_files else None,
    ]
    return [figure for figure in figures if figure is not None]


def _wave(run: RunRecord, ends: dict[str, int]) -> SvgFigure | None:
    energised = energised_electrodes(run.table)
    if not energised:
        return None
    chosen = chosen_stages(list(energised), most_loaded_stage(run.table))
    surface, profiles = _profiles(run, {stage: ends[stage] for stage in chosen})
    if not profiles:
        return None
    bands = _band_spans(run.body)
    return wave_figure(profiles, bands, energised, surface, length=_length(run), name="wave")


def _space_time(run: RunRecord) -> SvgFigure | None:
    """The lumen radius over height and time of the states whose loads follow waves."""
    table = run.table
    if not run.description.cycles:
        return None
    waving = {window.stage for window in run.description.cycles}
    rows = [row for row, stage in enumerate(table.stages) if stage in waving]
    surface, profiles = run.lumen_history()
    if not surface or len(rows) < 2:
        return None
    chosen = [profiles[int(table["state"][row])] for row in rows]
    change = np.array([profile.radius / profile.reference_radius - 1 for profile in chosen])
    time = table["time"][rows]
    return space_time_map(
        time,
        chosen[0].height,
        change,
        bands=_band_spans(run.body),
        length=_length(run),
        seconds=run.units.unit("time", float(time.max())),
        name="space-time",
    )


def _profile(run: RunRecord, ends: dict[str, int]) -> SvgFigure | None:
    waving = {window.stage for window in run.description.cycles}
    states = {stage: state for stage, state in ends.items() if stage not in waving}
    words = {stage: f"end of “{stage}”" for stage in states}
    row = run.table.row_of(run.working_state)
    if waving and row is not None and run.table.stages[row] in waving:
        stage, time = run.table.stages[row], float(run.table[TIME.name][row])
        states[stage], words[stage] = run.working_state, f"“{stage}” at {run.table.show(TIME.name, time)}"
    surface, profiles = _profiles(run, dict(list(states.items())[-_MOST_PROFILES:]))
    if not profiles:
        return None
    lines = {words[stage]: profile for stage, profile in profiles.items()}
    return profile_figure(lines, _band_spans(run.body), surface, length=_length(run), name="profile")


def _profiles(run: RunRecord, states: dict[str, int]) -> tuple[str, dict[str, Profile]]:
    """Name of the innermost surface with profiles, and its profiles by stage."""
    found = {stage: run.profiles(state) for stage, state in states.items()}
    surface = next((s for s in _SURFACES if any(s in p for p in found.values())), "")
    return surface, {stage: p[surface] for stage, p in found.items() if surface in p}


def _band_spans(body: Body) -> dict[str, tuple[float, float]]:
    bands = {name: cells for name, cells in body.bands.items() if len(cells)}
    heights = {name: body.points[body.cells[cells]][..., -1] for name, cells in bands.items()}
    return {name: (float(z.min()), float(z.max())) for name, z in heights.items()}


def _section(run: RunRecord) -> SvgFigure:
    body, grid = run.body, FieldGrid(run.body)
    displacement = np.zeros((len(body.points), 3))
    state, _ = main_state(run)
    displacement[grid.nodes] = displacement_of(run, state)
    length = _length(run)
    if body.model == "axisymmetric":
        moved = in_meridian(in_space(body.points) + displacement) - body.points
        sections = meridian_sections(body, moved)
        slack = None
        arrays = read_point_arrays(run.field_file(state))
        if quantity_header(FOLDED_HOOP_LENGTH) in arrays:
            around, along = (np.asarray(arrays[quantity_header(length)]) for length in FOLDED_LENGTHS)
            slack = slack_pieces(body, moved, (around, along))
        return section_figure(sections, ("Z", "R"), length=length, name="section", slack=slack)
    height = most_changed_height(body, displacement)
    figure = section_figure(
        cross_sections(body, displacement, height), ("X", "Y"), length=length, name="section"
    )
    caption = f"{figure.caption} It cuts the drawn part at a height of {run.units.show('length', height)}."
    return figure._replace(caption=caption)


def _length(run: RunRecord) -> DisplayUnit:
    """The unit in which figures show lengths of the size of the part."""
    return run.units.unit("length", float(np.ptp(run.body.points, axis=0).max()))
