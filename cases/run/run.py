# SPDX-License-Identifier: MIT
"""Running a resolved case, from its mesh to a finished Run folder."""

import sys
import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from annelid.cases.convert.body import MeshedPart, meshed_part_of
from annelid.cases.convert.cost import cost_of
from annelid.cases.convert.display import display_units_of
from annelid.cases.convert.making import bare_stroke_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of, stepping_of
from annelid.cases.run.early_stop import StoppedEarly, stop_at_missed_stages
from annelid.cases.run.memory import check_memory
from annelid.cases.run.minute_lines import MinuteLines
from annelid.cases.run.ranks import check_size, on_first_rank
from annelid.cases.run.run_writer import RunWriter
from annelid.cases.schema.case import Case
from annelid.cases.validate.resolved import case_hash
from annelid.geometry.errors import AnnelidError
from annelid.results.folder.run_records import Verdict
from annelid.results.verification.adaptation import Adaptation
from annelid.solver.errors import NoEquilibrium
from annelid.solver.records import Equilibrium, Outcome

if TYPE_CHECKING:
    from annelid.solver.model.model import Model
    from annelid.solver.mpi import MPI

__all__ = ["RunResult", "default_folder", "run_case"]


@dataclass(frozen=True)
class RunResult:
    """Result of a run.

    Attributes:
        folder: The Run folder.
        outcome: How the path ended.
        verdicts: Requirements and whether they are met.
        states: Number of computed equilibria.
    """

    folder: Path
    outcome: Outcome
    verdicts: tuple[Verdict, ...]
    states: int


def default_folder(name: str, case: Case) -> Path:
    """Return the default folder of a run: ``runs/<name>-<first digits of the hash>``."""
    return Path("runs") / f"{name}-{case_hash(case)[:8]}"


def run_case(
    case: Case,
    folder: Path,
    *,
    rerun: bool = False,
    expected_ranks: int | None = None,
    stop_early: bool = False,
    keep_surfaces: bool = True,
) -> RunResult | None:
    """Run a resolved case; collective.

    Args:
        case: A resolved case.
        folder: The Run folder; created if absent.
        rerun: Repeat the run if the folder contains a finished run of the case.
        expected_ranks: Number of ranks requested.
        stop_early: End the run at the end of a stage that misses a requirement; on one rank only.
        keep_surfaces: Whether the deformed surfaces at the ends of stages are written.

    Returns:
        The result, on the first rank; ``None`` on the others.

    Raises:
        InputError: The folder contains something else, the body cannot be meshed, or a stage does not fit it.
    """
    from annelid.solver.mpi import MPI

    comm = MPI.COMM_WORLD
    check_size(comm.size, expected_ranks)
    with MinuteLines("meshing the part") as lines:
        lines.prints = comm.rank == 0
        asked = case
        case, adaptation = _with_chosen_mesh(case, comm, lines)
        part, model = _model_of(case, comm, lines)
        writers: list[RunWriter] = []

        def start() -> None:
            options = {"rerun": rerun, "keep_surfaces": keep_surfaces}
            chosen = None if adaptation is None else (case_hash(asked), adaptation)
            writers.append(RunWriter(case, part, folder, ranks=comm.size, chosen=chosen, **options))

        on_first_rank(comm, start)
        lines.begin("setting up the equations, which are compiled if they are new")
        if not writers:
            _follow(case, model, None, lines)
            return None
        with writers[0] as writer:
            lines.log, lines.prints = writer.log, not sys.stderr.isatty()
            check = stop_at_missed_stages(case) if stop_early and comm.size == 1 else None
            outcome, solution = _follow(case, model, writer, lines, check)
            if adaptation is not None:
                outcome = replace(outcome, remarks=(adaptation.text, *adaptation.notes, *outcome.remarks))
            lines.end()  # the summary has the digest of the log
            verdicts = writer.finish(outcome, solution)
            return RunResult(writer.path, outcome, verdicts, writer.states)


def _with_chosen_mesh(case: Case, comm: "MPI.Comm", lines: MinuteLines) -> tuple[Case, Adaptation | None]:
    """Choose the mesh of a case if it has an accuracy, on the first rank, and state each mesh on the way.

    Raises:
        AnnelidError: Not even the unloaded state was found on a first, coarse mesh.
    """
    if case.mesh.accuracy is None:
        return case, None
    import annelid.solver.adaptivity.estimate  # noqa: F401  (PETSc starts on all ranks at once)
    from annelid.cases.adapt.adapting import adapted

    lines.begin("choosing the mesh")

    def say(line: str) -> None:
        if lines.prints:
            print(line, file=sys.stderr, flush=True)
        lines.printed()

    chosen: tuple[Case, Adaptation] = on_first_rank(comm, lambda: adapted(case, say=say))
    lines.begin("meshing the part")
    return chosen


def _model_of(case: Case, comm: "MPI.Comm", lines: MinuteLines) -> tuple[MeshedPart, "Model"]:
    """Mesh a case and check its model before anything is written."""
    from annelid.solver.constraints.stage_checks import check_stages

    part: MeshedPart = on_first_rank(comm, lambda: meshed_part_of(case))
    model = model_of(case, *part)
    check_stages(model, stages_of(case))
    check_memory(cost_of(case, part.body))
    lines.begin("computing the stroke of the bare skin")
    return part, replace(model, bare_stroke=on_first_rank(comm, lambda: bare_stroke_of(case)))


def _follow(
    case: Case,
    model: "Model",
    writer: RunWriter | None,
    lines: MinuteLines,
    check: Callable[[Equilibrium], None] | None = None,
) -> tuple[Outcome, dict[str, Any]]:
    """Follow the path of a case, and write unexpected errors to the log of the run."""
    try:
        return _follow_path(case, model, writer, lines, check)
    except NoEquilibrium as failure:
        notes = tuple(model.body.notes.values())
        return Outcome("no equilibrium", failure.message, case.stages[0].name, 0.0, remarks=notes), {}
    except (AnnelidError, OSError):  # a full disk is no fault of the program
        raise
    except Exception as error:
        if writer is not None:
            writer.log(traceback.format_exc())
            error.add_note(f"The traceback is in {writer.path / 'log.txt'}")
        raise


def _follow_path(
    case: Case,
    model: "Model",
    writer: RunWriter | None,
    lines: MinuteLines,
    check: Callable[[Equilibrium], None] | None,
) -> tuple[Outcome, dict[str, Any]]:
    """Follow a path; return its outcome, its numbers of unknowns and the counts of the solver."""
    from annelid.solver.continuation.path import Path as EquilibriumPath
    from annelid.solver.energy.spaces import describe_unknowns

    def observe(state: Equilibrium) -> None:
        if writer is not None:
            writer.observe(state)
            lines.printed()
            lines.begin(f"computing beyond {state.stage} {state.parameter:.3f}")
        if check is not None:
            check(state)

    path = EquilibriumPath(model, stages_of(case), stepping=stepping_of(case), units=display_units_of(case))
    unknowns = {f"unknowns, {name}": count for name, count in describe_unknowns(path.problem.spaces).items()}
    try:
        outcome = path.follow(observe=observe)
    except StoppedEarly as stopped:
        outcome = stopped.outcome
    outcome = replace(outcome, remarks=(*model.body.notes.values(), *outcome.remarks))
    return outcome, unknowns | asdict(path.system.count)
