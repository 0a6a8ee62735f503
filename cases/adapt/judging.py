# SPDX-License-Identifier: MIT
"""One mesh of an adaptation: the path of a case on it, and the estimated errors of its quantities."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from annelid.cases.adapt.goals import Goal
from annelid.cases.convert.body import body_of, divided_body_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import NO_SEARCH, SEEK_LIMIT, stages_of, stepping_of
from annelid.cases.schema.case import Case
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.stepping import NO_STATE
from annelid.solver.records import Equilibrium

if TYPE_CHECKING:
    from annelid.solver.adaptivity.estimate import Wanted
    from annelid.solver.adaptivity.quantity_error import QuantityError
    from annelid.solver.continuation.path import Path
    from annelid.solver.continuation.reporter import Checkpoint

__all__ = ["JudgedMesh", "PathEnd", "judged_mesh"]


class PathEnd(NamedTuple):
    """How and where a path ends: kind of its outcome, stage and stage parameter."""

    kind: str
    stage: str
    parameter: float

    @property
    def reached(self) -> bool:
        """Whether it passed all stages."""
        return self.kind == "reached"

    def agrees(self, other: "PathEnd", accuracy: float) -> bool:
        """Whether another mesh shows the same end, with an accuracy relative to the loads of the stage."""
        return self[:2] == other[:2] and abs(self.parameter - other.parameter) <= accuracy


class JudgedMesh(NamedTuple):
    """What was found on a mesh.

    Attributes:
        unknowns: Number of unknowns.
        end: How the path ends.
        errors: Estimated errors; none if the states could not be solved on finer meshes.
        notes: Sentences on quantities that were not judged where they are required.
    """

    unknowns: int
    end: PathEnd
    errors: tuple["QuantityError", ...] = ()
    notes: tuple[str, ...] = ()


class _Followed(NamedTuple):
    """A path, its end, its states, and the quantities of each of them."""

    path: "Path"
    end: PathEnd
    kept: list["Checkpoint"]
    values: list[Mapping[str, float]]

    def number_of(self, stage: str) -> int | None:
        """Number of the state at the end of a stage, ``None`` if it is not reached."""
        ends = [
            n for n, c in enumerate(self.kept) if (c.stage, c.critical) == (stage, "") and c.parameter >= 1
        ]
        return ends[-1] if ends else None

    @property
    def last(self) -> int:
        """Number of the last state that is no critical point."""
        return max((n for n, c in enumerate(self.kept) if not c.critical), default=0)


def judged_mesh(case: Case, goals: Sequence[Goal]) -> JudgedMesh:
    """Follow the path of a case with given sizes, and estimate the errors of its goals.

    The states are not judged against waves around the axis on the way, since they are the same without.
    """
    from annelid.solver.adaptivity.estimate import MarginSearch, estimated_errors

    try:
        followed = _followed(case)
    except NoEquilibrium:
        return JudgedMesh(0, PathEnd("no equilibrium", case.stages[0].name, 0.0))
    wanted, notes = _wanted(followed, goals)
    kept, values = followed.kept, followed.values
    ends = {number for stage in case.stages if (number := followed.number_of(stage.name)) is not None}
    chosen = sorted({0, *ends, *wanted})
    stepping = stepping_of(case)
    furthest = stepping.seek_limit if stepping.seek_limit > NO_SEARCH else SEEK_LIMIT
    by_checkpoint = {id(kept[n]): values[n] for n in chosen}
    try:
        errors = estimated_errors(
            followed.path,
            [kept[n] for n in chosen],
            [w for n in chosen for w in wanted.get(n, ())],
            lambda checkpoint: by_checkpoint[id(checkpoint)],
            lambda divide: divided_body_of(case, divide),
            MarginSearch(furthest, stepping.harmonics),
        )
    except NoEquilibrium:  # on the finer meshes the path leads elsewhere
        errors = []
    return JudgedMesh(followed.path.system.x.getSize(), followed.end, tuple(errors), notes)


def _followed(case: Case) -> _Followed:
    """Follow the path of a case on one rank."""
    from annelid.solver.continuation.path import Path
    from annelid.solver.mpi import MPI

    quick = replace(stepping_of(case), seek_limit=NO_SEARCH, harmonics=NO_STATE)
    path = Path(model_of(case, body_of(case)), stages_of(case), stepping=quick, comm=MPI.COMM_SELF)
    kept: list[Checkpoint] = []
    values: list[Mapping[str, float]] = []

    def observe(state: Equilibrium) -> None:
        values.append({name: measure.value for name, measure in state.quantities.items()})

    outcome = path.follow(observe=observe, keep=kept.append)
    return _Followed(path, PathEnd(outcome.kind, outcome.stage, outcome.parameter), kept, values)


def _wanted(followed: _Followed, goals: Sequence[Goal]) -> tuple[dict[int, list["Wanted"]], tuple[str, ...]]:
    """What to judge, by number of the state, and sentences on stages that are not reached."""
    from annelid.solver.adaptivity.estimate import LOAD, Wanted

    kept, last = followed.kept, followed.last
    found: dict[int, list[Wanted]] = {}
    notes = []
    for stage in dict.fromkeys(goal.stage for goal in goals):
        number = followed.number_of(stage)
        if number is None:
            number = last
            at = f"{kept[last].stage} {kept[last].parameter:.3g}"
            notes.append(f"stage '{stage}' is not reached: the mesh is chosen for the state at {at}")
        names = tuple(goal.quantity for goal in goals if goal.stage == stage)
        found.setdefault(number, []).append(Wanted(kept[number], names, stage))
    beyond = next((n for n in range(last + 1, len(kept)) if kept[n].critical == "limit point"), None)
    if beyond is not None:
        found[beyond] = [Wanted(kept[beyond], (LOAD,), kept[beyond].stage)]
    return found, tuple(notes)
