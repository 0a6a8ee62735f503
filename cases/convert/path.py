# SPDX-License-Identifier: MIT
"""Conversion of the stages and the path table of a resolved case into records of the solver."""

from annelid.cases.schema.case import Case
from annelid.cases.schema.stage import PointMotionTable, StageTable
from annelid.geometry.checks import one_of
from annelid.geometry.errors import InvalidValue, checking
from annelid.solver.model.loads import LOAD_KINDS
from annelid.solver.model.stages import DRIVERS, PointMotion, Stage
from annelid.solver.model.stepping import Stepping

__all__ = ["stage_of", "stages_of", "stepping_of"]

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
    targets = {driver.target: getattr(table, driver.key) for driver in DRIVERS.values()}
    targets |= {"point": point, "opening": next(iter(table.opening.items()), None)}
    loads = {kind.attribute: getattr(table, kind.key) for kind in LOAD_KINDS}
    return Stage(
        table.name,
        control=table.control,
        steps=table.steps,
        backward=table.backward,
        **targets,
        **loads,
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
        beyond_instability=path.beyond_instability,
        self_crossing=path.self_crossing,
        seek_limit=path.seek_limit,
    )
