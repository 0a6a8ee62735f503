# SPDX-License-Identifier: MIT
"""A pool of persistent worker processes: their jobs, their replies, and how they ended."""

import contextlib
import json
import os
import selectors
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from annelid.cases.run.memory import count_oom_kills, process_memory
from annelid.cases.studies.single_run import Job, Reply, failure_kind, single_thread_environment

__all__ = ["Pool", "Worker"]

_TAIL, _TAIL_LINES, _LOG = 400, 4, 1_000_000  # bytes and lines of a log
_OWN = "annelid: "  # prefix of all error messages of the command line


class Worker:
    """One worker process.

    Attributes:
        number: Number, which names its log.
        log: File of its error stream.
        ready: Whether it has imported the libraries.
        task: The task that it works on; ``None`` when idle.
        kill_reason: Why this process killed it; empty if it did not.
        peak_memory: Largest measured memory during the task, in MB.
        process: The process.
    """

    def __init__(self, number: int, folder: Path, runner: str, memory: float) -> None:
        self.number = number
        self.log = folder / f"worker_{number}.log"
        self.ready = False
        self.task: Any = None
        self.kill_reason = ""
        self.peak_memory = 0.0
        self._started = time.monotonic()
        self._partial_line = b""
        self._has_ranks = False
        self._oom_kills_before = count_oom_kills()
        command = [
            sys.executable,
            "-m",
            "annelid.cases.studies.worker",
            runner,
            str(memory),
            str(os.getpid()),
        ]
        with open(self.log, "wb"):
            pass
        with open(self.log, "ab") as log:
            self.process = subprocess.Popen(
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=log,
                env=single_thread_environment(),
                start_new_session=True,
            )

    @property
    def idle(self) -> bool:
        """Whether it can be given a job."""
        return self.ready and self.task is None and not self.kill_reason and self.process.poll() is None

    @property
    def elapsed(self) -> float:
        """Time in s since its task or its start began, by a monotonic clock."""
        return time.monotonic() - self._started

    def assign(self, task: Any, job: Job) -> None:
        """Send a job to the worker; if it has died, :meth:`read` reports that."""
        self.task, self._started, self.peak_memory = task, time.monotonic(), 0.0
        self._has_ranks = job.ranks > 1
        assert self.process.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.write(json.dumps(job).encode() + b"\n")
            self.process.stdin.flush()

    def read(self) -> tuple[list[Reply], bool]:
        """Replies that have arrived, and whether the worker is alive."""
        assert self.process.stdout is not None
        data = os.read(self.process.stdout.fileno(), 65536)
        if not data:
            return [], False
        *lines, self._partial_line = (self._partial_line + data).split(b"\n")
        replies = []
        for line in lines:
            message = json.loads(line)
            if isinstance(message, dict):
                self.ready = True
            else:
                replies.append(Reply(*message))
        return replies, True

    def measure_memory(self) -> float:
        """Present memory in MB, including the ranks that it started; 0 after its end."""
        megabytes = process_memory(self.process.pid, with_children=self._has_ranks)
        self.peak_memory = max(self.peak_memory, megabytes)
        return megabytes

    def kill(self, reason: str = "stopped") -> None:
        """Kill the worker and all processes that it started."""
        self.kill_reason = reason
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, signal.SIGKILL)

    def limit_reason(self, time_limit: float, memory_limit: float) -> str:
        """Which limit (in s and MB) it was killed for."""
        if self.kill_reason == "time limit":
            return f"took longer than {time_limit:g} s"
        return f"took {self.peak_memory:.0f} MB of memory, more than {memory_limit:.0f} MB"

    def reap(self) -> tuple[str, str]:
        """Wait for the process to end and find out why; may be called again.

        Returns:
            ``"memory"``, ``"killed"`` (by another process) or ``"crash"``, and the reason as text.
        """
        code = self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        tail = self.log_tail()
        log = f"; its log ends with: {tail}" if tail else ""
        if code == -signal.SIGKILL and count_oom_kills() > self._oom_kills_before:
            return "memory", "the system killed the run because memory ran out"
        if failure_kind(tail) == "memory":
            return "memory", f"memory ran out{log}"
        if code == -signal.SIGKILL:
            return "killed", "the worker was killed by another process"
        if code < 0:
            return "crash", f"the worker crashed ({signal.Signals(-code).name}){log}"
        return "crash", f"the worker exited with code {code}{log}"

    def log_tail(self) -> str:
        """The last lines of its log."""
        return _joined(self._log_lines(_TAIL)[-_TAIL_LINES:])

    def log_message(self) -> str:
        """The messages of this program in its log; the last lines of the log if there are none.

        Launchers print further lines after those of the ranks, in an order that differs from run to run.
        """
        own = [line.removeprefix(_OWN) for line in self._log_lines(_LOG) if line.startswith(_OWN)]
        return _joined(list(dict.fromkeys(own))[-_TAIL_LINES:]) or self.log_tail()

    def _log_lines(self, size: int) -> list[str]:
        try:
            text = self.log.read_bytes()[-size:].decode(errors="replace").replace("\0", "")
        except OSError:
            return []
        return text.splitlines()


class Pool:
    """A pool of workers; workers that ended are replaced by new ones.

    Attributes:
        workers: The workers that are alive.
    """

    def __init__(self, size: int, folder: Path, *, runner: str, memory: float) -> None:
        self._size, self._folder, self._runner, self._memory = size, folder, runner, memory
        self._selector = selectors.DefaultSelector()
        self.workers: list[Worker] = []
        folder.mkdir(parents=True, exist_ok=True)

    def start_workers(self, count: int) -> None:
        """Start workers until there are ``count``, at most the size of the pool."""
        numbers = {worker.number for worker in self.workers}
        while len(self.workers) < min(count, self._size):
            number = min(set(range(1, self._size + 1)) - numbers)
            numbers.add(number)
            worker = Worker(number, self._folder, self._runner, self._memory)
            self._selector.register(worker.process.stdout, selectors.EVENT_READ, worker)  # type: ignore[arg-type]
            self.workers.append(worker)

    def wait(self, seconds: float) -> list[tuple[Worker, list[Reply], bool]]:
        """Wait for replies for at most the given time in s; workers that ended are removed from the pool.

        Returns:
            For each worker with news: the worker, its replies, and whether it is alive.
        """
        found = []
        for key, _ in self._selector.select(seconds):
            worker: Worker = key.data
            replies, alive = worker.read()
            if not alive:
                self._selector.unregister(key.fileobj)
                self.workers.remove(worker)
                worker.reap()  # here, since the driver may stop at an error of another worker
            found.append((worker, replies, alive))
        return found

    def close(self) -> None:
        """Kill all workers."""
        for worker in self.workers:
            worker.kill()
        for worker in self.workers:
            worker.reap()
        self.workers.clear()
        self._selector.close()


def _joined(lines: list[str]) -> str:
    return " / ".join(line.strip() for line in lines if line.strip())
