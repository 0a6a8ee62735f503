# SPDX-License-Identifier: MIT
"""Worker processes that stay: what one is asked, what it answers, and how it ended if it did not."""

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

from annelid.cases.studies.single_run import Job, Reply, kind_of_end, single_threaded

__all__ = ["Pool", "Worker", "free_memory"]

_TAIL, _TAIL_LINES, _LOG = 400, 4, 1_000_000  # bytes and lines of a log
_OWN = "annelid: "  # every message of the command line begins with it


class Worker:
    """One worker process.

    Attributes:
        ready: Whether it has imported what it needs.
        task: What it works on; ``None`` when idle.
        ended_for: Why the driver ended it; empty if it did not.
        peak: Largest memory seen during the task, in MB.
    """

    def __init__(self, number: int, folder: Path, runner: str, memory: float) -> None:
        self.number = number
        self.log = folder / f"worker_{number}.log"
        self.ready = False
        self.task: Any = None
        self.ended_for = ""
        self.peak = 0.0
        self.begun = time.monotonic()
        self._pending = b""
        self._many = False
        self._killed_before = _oom_kills()
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
                env=single_threaded(),
                start_new_session=True,
            )

    @property
    def idle(self) -> bool:
        """Whether it can be given a job."""
        return self.ready and self.task is None and not self.ended_for and self.process.poll() is None

    @property
    def seconds(self) -> float:
        """How long it has been at its task, or starting; a clock that is set does not matter."""
        return time.monotonic() - self.begun

    def give(self, task: Any, job: Job) -> None:
        """Hand over a job; a worker that has died meanwhile is noticed when its answer is read."""
        self.task, self.begun, self.peak = task, time.monotonic(), 0.0
        self._many = job.ranks > 1
        assert self.process.stdin is not None
        with contextlib.suppress(BrokenPipeError):
            self.process.stdin.write(json.dumps(job).encode() + b"\n")
            self.process.stdin.flush()

    def read(self) -> tuple[list[Reply], bool]:
        """Answers that have come, and whether the worker lives."""
        assert self.process.stdout is not None
        data = os.read(self.process.stdout.fileno(), 65536)
        if not data:
            return [], False
        *lines, self._pending = (self._pending + data).split(b"\n")
        replies = []
        for line in lines:
            answer = json.loads(line)
            if isinstance(answer, dict):
                self.ready = True
            else:
                replies.append(Reply(*answer))
        return replies, True

    def memory(self) -> float:
        """Memory it occupies now with the ranks that it has started, in MB; 0 once it is gone."""
        processes = [self.process.pid, *(_offspring(self.process.pid) if self._many else ())]
        megabytes = sum(map(_memory_of, processes))
        self.peak = max(self.peak, megabytes)
        return megabytes

    def end(self, why: str = "stopped") -> None:
        """End it with all that it has started."""
        self.ended_for = why
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, signal.SIGKILL)

    def bury(self) -> tuple[str, str]:
        """After its end: what kind of end it was, and what it said last; may be asked again.

        Returns:
            ``"memory"``, ``"killed"`` (from outside) or ``"crash"``, and a reason in words.
        """
        code = self.process.wait()
        for pipe in (self.process.stdin, self.process.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        tail = self.tail()
        said = f"; it said last: {tail}" if tail else ""
        if code == -signal.SIGKILL and _oom_kills() > self._killed_before:
            return "memory", "the system ended the run for want of memory"
        if kind_of_end(tail) == "memory":
            return "memory", f"memory ran out{said}"
        if code == -signal.SIGKILL:
            return "killed", "the worker was killed from outside"
        if code < 0:
            return "crash", f"the worker crashed ({signal.Signals(-code).name}){said}"
        return "crash", f"the worker ended by itself with code {code}{said}"

    def tail(self) -> str:
        """The end of its log."""
        return _joined(self._log_lines(_TAIL)[-_TAIL_LINES:])

    def message(self) -> str:
        """The messages of this program in its log; the end of the log if there are none.

        Launchers print their own lines after those of the ranks, in an order that differs from run to run.
        """
        own = [line.removeprefix(_OWN) for line in self._log_lines(_LOG) if line.startswith(_OWN)]
        return _joined(list(dict.fromkeys(own))[-_TAIL_LINES:]) or self.tail()

    def _log_lines(self, size: int) -> list[str]:
        try:
            text = self.log.read_bytes()[-size:].decode(errors="replace").replace("\0", "")
        except OSError:
            return []
        return text.splitlines()


class Pool:
    """So many workers; those that end are replaced.

    Attributes:
        workers: The workers that live.
    """

    def __init__(self, size: int, folder: Path, *, runner: str, memory: float) -> None:
        self._size, self._folder, self._runner, self._memory = size, folder, runner, memory
        self._selector = selectors.DefaultSelector()
        self.workers: list[Worker] = []
        folder.mkdir(parents=True, exist_ok=True)

    def fill(self, wanted: int) -> None:
        """Start workers until there are as many as wanted, at most the size of the pool."""
        numbers = {worker.number for worker in self.workers}
        while len(self.workers) < min(wanted, self._size):
            number = min(set(range(1, self._size + 1)) - numbers)
            numbers.add(number)
            worker = Worker(number, self._folder, self._runner, self._memory)
            self._selector.register(worker.process.stdout, selectors.EVENT_READ, worker)  # type: ignore[arg-type]
            self.workers.append(worker)

    def wait(self, seconds: float) -> list[tuple[Worker, list[Reply], bool]]:
        """Wait for answers or ends, at most so long; workers that ended have left the pool."""
        found = []
        for key, _ in self._selector.select(seconds):
            worker: Worker = key.data
            replies, alive = worker.read()
            if not alive:
                self._selector.unregister(key.fileobj)
                self.workers.remove(worker)
                worker.bury()  # even if the driver gives up at another that ended with it
            found.append((worker, replies, alive))
        return found

    def close(self) -> None:
        """End all workers."""
        for worker in self.workers:
            worker.end()
        for worker in self.workers:
            worker.bury()
        self.workers.clear()
        self._selector.close()


def _joined(lines: list[str]) -> str:
    return " / ".join(line.strip() for line in lines if line.strip())


def _memory_of(process: int) -> float:
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except (OSError, IndexError, ValueError):
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def _offspring(process: int) -> list[int]:
    """Children of a process, and theirs."""
    children: dict[int, list[int]] = {}
    for entry in os.scandir("/proc"):
        if entry.name.isdigit():
            with contextlib.suppress(OSError, IndexError):
                parent = int(Path(entry.path, "stat").read_text().rpartition(")")[2].split()[1])
                children.setdefault(parent, []).append(int(entry.name))
    found = children.get(process, [])
    for child in found:
        found += children.get(child, [])
    return found


def free_memory() -> float:
    """Memory that is free for use, in MB: of the machine, or of the control group if that is less."""
    lines = Path("/proc/meminfo").read_text().splitlines()
    free = next(float(line.split()[1]) * 1.024e-3 for line in lines if line.startswith("MemAvailable"))
    with contextlib.suppress(OSError, ValueError):
        most = float(Path("/sys/fs/cgroup/memory.max").read_text())
        used = float(Path("/sys/fs/cgroup/memory.current").read_text())
        free = min(free, max(0.0, (most - used) / 1e6))
    return free


def _oom_kills() -> int:
    """How often the system has ended a process for want of memory."""
    with contextlib.suppress(OSError, StopIteration):
        lines = Path("/proc/vmstat").read_text().splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("oom_kill "))
    return 0
