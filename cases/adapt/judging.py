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
from annelid.solver.model.stepping import NO_STATE
from annelid.solver.records import Equilibrium

if TYPE_CHECKING:
    from annelid.solver.adaptivity.quantity_error import QuantityError

__all__ = ["JudgedMesh", "judged_mesh"]


class JudgedMesh(NamedTuple):
    """What was found on a mesh.

    Attributes:
        unknowns: Number of unknowns.
        errors: Estimated errors; none if the states could not be solved on finer meshes.
        notes: Sentences on quantities that were not judged where they are required.
    """

    unknowns: int
    errors: tuple["QuantityError", ...]
    notes: tuple[str, ...]


def judged_mesh(case: Case, goals: Sequence[Goal]) -> JudgedMesh:
    """Follow the path of a case with given sizes, and estimate the errors of its goals.

    The states are not judged against waves around the axis on the way, since they are the same without.

    Raises:
        NoEquilibrium: Not even the unloaded state was found.
    """
    from annelid.solver.adaptivity.estimate import LOAD, MarginSearch, Wanted, estimated_errors
    from annelid.solver.continuation.path import Path
    from annelid.solver.continuation.reporter import Checkpoint
    from annelid.solver.errors import NoEquilibrium
    from annelid.solver.mpi import MPI

    stepping = stepping_of(case)
    quick = replace(stepping, seek_limit=NO_SEARCH, harmonics=NO_STATE)
    path = Path(model_of(case, body_of(case)), stages_of(case), stepping=quick, comm=MPI.COMM_SELF)
    kept: list[Checkpoint] = []
    values: list[Mapping[str, float]] = []

    def observe(state: Equilibrium) -> None:
        values.append({name: measure.value for name, measure in state.quantities.items()})

    path.follow(observe=observe, keep=kept.append)
    unknowns = path.system.x.getSize()
    ends = {c.stage: n for n, c in enumerate(kept) if c.parameter >= 1.0 and not c.critical}
    last = next((n for n in range(len(kept) - 1, -1, -1) if not kept[n].critical), 0)
    wanted: dict[int, list[tuple[str, str]]] = {}
    notes = []
    for goal in goals:
        number = ends.get(goal.stage, last)
        wanted.setdefault(number, []).append((goal.quantity, goal.stage))
        if goal.stage not in ends:
            at = f"{kept[last].stage} {kept[last].parameter:.3g}"
            notes.append(f"stage '{goal.stage}' is not reached: the mesh is chosen for the state at {at}")
    chosen = sorted({0, *ends.values(), *wanted})
    searches = [
        Wanted(kept[n], tuple(q for q, s in names if s == stage), stage)
        for n, names in wanted.items()
        for stage in dict.fromkeys(s for _, s in names)
    ]
    critical = next((n for n in range(len(kept)) if n > last and kept[n].critical == "limit point"), None)
    if critical is not None:
        chosen.append(critical)
        searches.append(Wanted(kept[critical], (LOAD,), kept[critical].stage))
    by_checkpoint = {id(kept[n]): values[n] for n in chosen}
    furthest = stepping.seek_limit if stepping.seek_limit > NO_SEARCH else SEEK_LIMIT
    search = MarginSearch(furthest, stepping.harmonics)
    try:
        errors = estimated_errors(
            path,
            [kept[n] for n in chosen],
            searches,
            lambda checkpoint: by_checkpoint[id(checkpoint)],
            lambda divide: divided_body_of(case, divide),
            search,
        )
    except NoEquilibrium as failure:
        return JudgedMesh(
            unknowns, (), (*notes, f"no state on the mesh of halved elements: {failure.message}")
        )
    return JudgedMesh(unknowns, tuple(errors), tuple(dict.fromkeys(notes)))
