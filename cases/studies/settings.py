# SPDX-License-Identifier: MIT
"""Settings of a study on this machine, and counts of its runs."""

from dataclasses import dataclass, field

__all__ = ["RunCounts", "Settings"]

_RUNNER = "annelid.cases.studies.single_run"


@dataclass(frozen=True)
class Settings:
    """How a study is run on this machine.

    Attributes:
        workers: Number of worker processes; 0 for the processors divided by the ranks of a run.
        time_limit: Time limit of a run in s; ``None`` for the limit of the study.
        memory_limit: Memory limit of a run in MB; ``None`` for the limit of the study.
        runner: Module whose ``run_job`` does a job.
    """

    workers: int = 0
    time_limit: float | None = None
    memory_limit: float | None = None
    runner: str = _RUNNER


@dataclass
class RunCounts:
    """How many runs of a study are in which state.

    Attributes:
        total: Runs of the study.
        done: Finished runs.
        failed: Failed runs.
        other_process: Runs that another process works on.
        running: Runs that this process works on.
        seconds: Time of each run that was finished by this process.
    """

    total: int
    done: int = 0
    failed: int = 0
    other_process: int = 0
    running: int = 0
    seconds: list[float] = field(default_factory=list)
