# SPDX-License-Identifier: MIT
"""How a study is run on this machine, and how far it is."""

from dataclasses import dataclass, field

__all__ = ["Settings", "Tally"]

_RUNNER = "annelid.cases.studies.single_run"


@dataclass(frozen=True)
class Settings:
    """How a study is run on this machine.

    Attributes:
        workers: Processes at a time; 0 for one a processor and rank.
        time_limit: Seconds a run may take; ``None`` as the study says.
        memory_limit: MB a run may take; ``None`` as the study says.
        runner: Module whose ``run_one`` does a job.
    """

    workers: int = 0
    time_limit: float | None = None
    memory_limit: float | None = None
    runner: str = _RUNNER


@dataclass
class Tally:
    """How far a study is.

    Attributes:
        total: Runs of the study.
        done: Finished runs.
        failed: Runs that failed.
        elsewhere: Runs that a process of somebody else works on.
        running: Runs at work now.
        seconds: Time of each run that was finished here.
    """

    total: int
    done: int = 0
    failed: int = 0
    elsewhere: int = 0
    running: int = 0
    seconds: list[float] = field(default_factory=list)
