# SPDX-License-Identifier: MIT
"""Conversion of the stages and the path table of a resolved case into records of the solver."""

from annelid.cases.convert.waves import beats_of, duration_of, steps_of, time_step_of, waves_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import PointMotionTable, StageTable
from annelid.cases.schema.units import parse
from annelid.geometry.checks import one_of
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.quantities import quantity_of
from annelid.solver.model.stage_ends import SENSES, TOLERANCE, EndCondition
from annelid.solver.model.stages import DRIVERS, PointMotion, Stage
from annelid.solver.model.stepping import NO_SEARCH, Stepping, Tolerance
from annelid.solver.model.waveforms import LoadWave

__all__ = [
    "NO_SEARCH",
    "SEEK_LIMIT",
    "ends_of",
    "loads_with_margin",
    "seek_limit_of",
    "stage_of",
    "stages_of",
    "stepping_of",
]

SEEK_LIMIT = 2.0

_COMPONENTS = {
    "axisymmetric": {"radial": 0, "axial": 1},
    "3-D": {"x": 0, "y": 1, "z": 2, "axial": 2},
}


def stages_of(case: Case) -> tuple[Stage, ...]:
    """Return the stages of a case."""
    return tuple(stage_of(case, stage) for stage in case.stages)


def stage_of(case: Case, table: StageTable) -> Stage:
    """Return a stage.

    Raises:
        InvalidValue: A value is not allowed.
    """
    with checking(f"stage '{table.name}'"):
        if len(table.opening) > 1:
            raise InvalidValue("has more than one section: give one", key="opening")
        point = _point_of(case, table.point) if table.point is not None else None
        waves, beats = waves_of(table), beats_of(case)
        if table.waves and duration_of(table) is None:
            raise InvalidValue("is missing: some waves have no number of cycles", key="duration")
        if table.steps_per_period is not None and table.steps_per_period < 1:
            raise InvalidValue(f"must be at least 1, got {table.steps_per_period}", key="steps_per_period")
        if table.steps_per_period is not None and time_step_of(table, beats) is None and table.steps is None:
            raise InvalidValue("needs waves, or a circuit that beats: use steps", key="steps_per_period")
        if table.steps is not None and table.steps_per_period is not None:
            raise InvalidValue(
                "cannot be given together with steps: give one of them", key="steps_per_period"
            )
    targets = {driver.target: getattr(table, driver.key) for driver in DRIVERS.values()}
    targets |= {"point": point, "opening": next(iter(table.opening.items()), None)}
    loads = {kind.attribute: getattr(table, kind.key) for kind in LOAD_KINDS}
    _check_given_once(table, waves)
    return Stage(
        table.name,
        control=table.control,
        steps=steps_of(table, beats),
        duration=duration_of(table),
        time_step=time_step_of(table, beats),
        waves=waves,
        backward=table.backward,
        until=ends_of(table),
        **targets,
        **loads,
    )


def _check_given_once(table: StageTable, waves: tuple[LoadWave, ...]) -> None:
    for wave in waves:
        kind = next(kind for kind in LOAD_KINDS if kind.attribute == wave.attribute)
        given = getattr(table, kind.key)
        if (wave.entry in given) if kind.acts_on else given is not None:
            name = f"{kind.label} {wave.entry}".strip()
            raise InvalidValue(
                f"{name} is given twice, by a wave and by the stage",
                key="waves",
                subject=f"stage '{table.name}'",
            )


def ends_of(table: StageTable) -> tuple[EndCondition, ...]:
    """Return the conditions that end a stage; their limits have been checked.

    Raises:
        InvalidValue: A value is not allowed.
    """
    tolerance = TOLERANCE if table.until_tolerance is None else table.until_tolerance
    return tuple(
        EndCondition(end.quantity, sense, parse(limit, quantity_of(end.quantity).unit), tolerance)
        for end in table.until
        for sense, limit in zip(SENSES, (end.at_least, end.at_most), strict=True)
        if limit is not None
    )


def _point_of(case: Case, table: PointMotionTable) -> PointMotion:
    components = _COMPONENTS["axisymmetric" if case.mesh.model == "axisymmetric" else "3-D"]
    one_of("point.direction", table.direction, tuple(components), what="a direction of this model")
    return PointMotion(table.at, components[table.direction], table.motion)


def stepping_of(case: Case) -> Stepping:
    """Return the settings of the stepping along the path."""
    path = case.path
    return Stepping(
        smallest=path.smallest_step,
        tolerance=Tolerance() if path.tolerance is None else Tolerance.of_force(path.tolerance),
        beyond_instability=path.beyond_instability,
        self_crossing=path.self_crossing,
        seek_limit=seek_limit_of(case),
        harmonics=path.harmonics,
    )


def loads_with_margin(case: Case) -> list[str]:
    """Return the names of the loads that the case changes and that have a stability margin."""
    changed = {
        kind.margin
        for kind in LOAD_KINDS
        for stage in case.stages
        if getattr(stage, kind.key) not in (None, {}) or any(w.load == kind.key for w in stage.waves)
    }
    driven = {DRIVERS[stage.control].finds for stage in case.stages if stage.control in DRIVERS}
    return [kind.margin for kind in LOAD_KINDS if kind.margin and kind.margin in changed | driven]


def seek_limit_of(case: Case) -> float:
    """Return the multiple of the loads up to which limits are searched, 1 for no search.

    In a 3-D model the search takes longer than the path, so it needs the key.
    """
    default = SEEK_LIMIT if case.mesh is not None and case.mesh.model == "axisymmetric" else NO_SEARCH
    return default if case.path.seek_limit is None else case.path.seek_limit
