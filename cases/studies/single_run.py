# SPDX-License-Identifier: MIT
"""One run of a study, in a worker process, in this process or in a job of a cluster."""

import contextlib
import os
import re
import resource
import tempfile
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from annelid.geometry.errors import AnnelidError
from annelid.geometry.writing import DiskFull, system_error
from annelid.results.folder.folder_files import REPORT, status

__all__ = [
    "Job",
    "Reply",
    "failure_kind",
    "import_libraries",
    "make_report",
    "run_job",
    "single_thread_environment",
]

_MEMORY = re.compile(r"bad_alloc|out of memory|MemoryError|cannot allocate", re.IGNORECASE)
_DISK = re.compile(r"no space left on device|disk quota exceeded", re.IGNORECASE)


class Job(NamedTuple):
    """A job for a worker; it is sent through a pipe as JSON.

    Attributes:
        task: ``"run"`` or ``"report"``.
        toml: The resolved case, for a run.
        folder: The Run folder.
        surfaces: Whether the deformed surfaces are kept.
        ranks: Number of ranks of the run.
        launched: Whether this process is already one of these ranks.
        stop_early: Whether the run ends with a stage whose requirement it misses.
    """

    task: str
    toml: str
    folder: str
    surfaces: bool = False
    ranks: int = 1
    launched: bool = False
    stop_early: bool = False


class Reply(NamedTuple):
    """The result of a job.

    Attributes:
        kind: ``"done"``, ``"busy"`` (another process works in the Run folder), ``"error"``, ``"memory"`` or
            ``"disk"``.
        reason: Why the job was not done, as text.
    """

    kind: str
    reason: str = ""


def import_libraries() -> None:
    """Import the libraries of a run, before memory is limited and time is measured."""
    import annelid.solver.continuation.path
    import annelid.solver.energy.problem  # noqa: F401


def run_job(job: Job) -> Reply:
    """Do a job; every error becomes a reply."""
    try:
        if job.task == "report":
            make_report(Path(job.folder))
        else:
            _run(job)
    except MemoryError as error:
        return Reply("memory", f"memory ran out: {error}".rstrip(": "))
    except OSError as error:
        shown = system_error(error)
        return Reply("disk" if isinstance(shown, DiskFull) else "error", shown.message)
    except AnnelidError as error:
        return Reply("busy" if "pid" in error.data else "error", error.message)
    except Exception as error:
        text = f"{type(error).__name__}: {error}"
        return Reply(failure_kind(text), text)
    return Reply("done")


def failure_kind(text: str) -> str:
    """Kind of a failure from the output of the process: ``"memory"``, ``"disk"`` or ``"error"``."""
    if _DISK.search(text):
        return "disk"
    return "memory" if _MEMORY.search(text) else "error"


def make_report(folder: Path) -> None:
    """Write the report of a finished run, with pictures only if fields were kept."""
    from annelid.results.folder.run_record import open_run
    from annelid.results.report.report import write_report

    if not (folder / REPORT).exists():
        write_report(folder, with_pictures=bool(open_run(folder).field_files))


def single_thread_environment() -> dict[str, str]:
    """The environment of a worker, with one thread for linear algebra."""
    names = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS")
    return {**os.environ, **dict.fromkeys(names, "1")}


def _run(job: Job) -> None:
    if job.ranks > 1 and not job.launched:
        _run_on_ranks(job)
        return
    from annelid.cases.run.run import run_case
    from annelid.cases.validate.reading import case_from_tables

    case = case_from_tables(tomllib.loads(job.toml))
    ranks = job.ranks if job.launched else None
    run_case(
        case,
        Path(job.folder),
        expected_ranks=ranks,
        stop_early=job.stop_early,
        keep_surfaces=job.surfaces,
    )


def _run_on_ranks(job: Job) -> None:
    """Do a run on several ranks, by the command that runs a case."""
    from annelid.cases.run.ranks import start_ranks

    with tempfile.TemporaryDirectory() as place:
        case = Path(place) / "case.toml"
        case.write_text(job.toml)
        with _memory_unlimited():
            arguments = ["run", str(case), job.folder, "--no-report"]
            code = start_ranks(job.ranks, arguments if job.surfaces else [*arguments, "--no-surfaces"])
    if status(job.folder) != "finished":
        raise AnnelidError(f"the run on {job.ranks} ranks ended with code {code}")


@contextlib.contextmanager
def _memory_unlimited() -> Iterator[None]:
    """Start processes without the memory limit of this one; the driver monitors the memory of all ranks.

    Ranks with an inherited limit sometimes crashed in a library that does not check its allocations, and the
    reason could not be found out.
    """
    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (hard, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))
