# SPDX-License-Identifier: MIT
"""One run: from a resolved case to a finished Run folder."""

import traceback
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from annelid.cases.convert.body import body_of
from annelid.cases.convert.making import bare_stroke_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of
from annelid.cases.run.early_stop import StoppedEarly, stop_at_missed_stages
from annelid.cases.run.ranks import check_size, on_first_rank
from annelid.cases.run.run_writer import Keeper
from annelid.cases.schema.case import Case
from annelid.cases.validate.resolved import case_hash
from annelid.geometry.body import Body
from annelid.geometry.errors import AnnelidError, InputError
from annelid.results.folder.folder_files import status
from annelid.results.folder.records import Verdict
from annelid.solver.errors import NoEquilibrium
from annelid.solver.model.boundary import BareStroke
from annelid.solver.records import Equilibrium, Outcome

if TYPE_CHECKING:
    from annelid.solver.model.model import Model

__all__ = ["RunResult", "default_folder", "is_finished", "refuse_folder", "run_case"]


@dataclass(frozen=True)
class RunResult:
    """What a run came to.

    Attributes:
        folder: The Run folder.
        outcome: How the path ended.
        verdicts: Requirements and whether they are met.
        states: Number of equilibria found.
    """

    folder: Path
    outcome: Outcome
    verdicts: tuple[Verdict, ...]
    states: int


def default_folder(name: str, case: Case) -> Path:
    """Where a run is kept if nothing else is said: ``runs/<name>-<first digits of the hash>``."""
    return Path("runs") / f"{name}-{case_hash(case)[:8]}"


def is_finished(folder: Path, case: Case) -> bool:
    """Whether the folder holds a finished run of this very case."""
    return status(folder, case_hash(case)) == "finished"


def refuse_folder(folder: Path, case: Case) -> None:
    """Make sure that a run may be written there, before anything is computed.

    Raises:
        InputError: The folder holds something else.
    """
    found = status(folder, case_hash(case))
    if found in ("of another case", "not a run folder"):
        what = (
            "holds a run of another case" if found == "of another case" else "exists and is not a Run folder"
        )
        text = f"{folder}: {what}; nothing was written. Choose a new folder, or delete this one first"
        raise InputError(text, key="RUNDIR", status=found)


def run_case(
    case: Case,
    folder: Path,
    *,
    again: bool = False,
    expected_ranks: int | None = None,
    stop_early: bool = False,
) -> RunResult | None:
    """Run a resolved case; collective.

    Args:
        case: A resolved case.
        folder: The Run folder; made if absent.
        again: Run even if the folder holds a finished run of the case.
        expected_ranks: How many ranks were asked for.
        stop_early: End with a stage whose requirement is missed; not on several ranks.

    Returns:
        What it came to, on the first rank; ``None`` on the others.

    Raises:
        InputError: The folder holds something else, the body cannot be meshed, or a stage does not fit it.
    """
    from annelid.solver.assembly.stage_checks import check_stages
    from annelid.solver.mpi import MPI

    comm = MPI.COMM_WORLD
    check_size(comm.size, expected_ranks)
    body: Body = on_first_rank(comm, lambda: body_of(case))
    check_stages(model_of(case, body), stages_of(case))  # before anything is written
    bare: BareStroke | None = on_first_rank(comm, lambda: bare_stroke_of(case))
    keepers: list[Keeper] = []

    def start() -> None:
        keepers.append(Keeper(case, body, folder, again=again, ranks=comm.size))

    on_first_rank(comm, start)
    if not keepers:
        _follow(case, body, bare, None)
        return None
    with keepers[0] as keeper:
        look = stop_at_missed_stages(case) if stop_early and comm.size == 1 else None
        outcome, solution = _follow(case, body, bare, keeper, look)
        found = keeper.finish(outcome, solution)
        return RunResult(keeper.path, outcome, found, keeper.states)


def _follow(
    case: Case,
    body: Body,
    bare: "BareStroke | None",
    keeper: Keeper | None,
    look: Callable[[Equilibrium], None] | None = None,
) -> tuple[Outcome, dict[str, Any]]:
    """Follow the path of a case; whatever goes wrong unforeseen is noted in the log of the run."""
    try:
        return _followed(case, replace(model_of(case, body), bare_stroke=bare), keeper, look)
    except NoEquilibrium as failure:
        notes = tuple(body.notes.values())
        return Outcome("no equilibrium", failure.message, case.stages[0].name, 0.0, remarks=notes), {}
    except AnnelidError:
        raise
    except Exception as error:
        if keeper is not None:
            keeper.log(traceback.format_exc())
            error.add_note(f"The details are in {keeper.path / 'log.txt'}")
        raise


def _followed(
    case: Case, model: "Model", keeper: Keeper | None, look: Callable[[Equilibrium], None] | None
) -> tuple[Outcome, dict[str, Any]]:
    """Outcome of a path, and what it took: unknowns and counts of work."""
    from annelid.solver.continuation.path import Path as EquilibriumPath
    from annelid.solver.energy.spaces import describe_unknowns
    from annelid.solver.model.stepping import Stepping

    stepping = Stepping(
        smallest=case.path.smallest_step,
        beyond_instability=case.path.beyond_instability,
        seek_limit=case.path.seek_limit,
    )

    def observe(state: Equilibrium) -> None:
        if keeper is not None:
            keeper.observe(state)
        if look is not None:
            look(state)

    path = EquilibriumPath(model, stages_of(case), stepping=stepping)
    unknowns = {f"unknowns, {name}": count for name, count in describe_unknowns(path.problem.spaces).items()}
    try:
        outcome = path.follow(observe=observe)
    except StoppedEarly as stopped:
        outcome = stopped.outcome
    outcome = replace(outcome, remarks=(*model.body.notes.values(), *outcome.remarks))
    return outcome, unknowns | asdict(path.system.count)
