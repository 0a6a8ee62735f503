# SPDX-License-Identifier: MIT
"""Atomic file writes, and a lock file that is released when its process is gone."""

import contextlib
import errno
import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path

from annelid.geometry.errors import InputError
from annelid.geometry.writing import PART_SUFFIX, naming, replacing


def write_atomically(path: Path, content: str | bytes) -> Path:
    """Write a file atomically: a reader sees either the old content or all of the new content.

    Args:
        path: The file; its folder must exist.
        content: Text (written as UTF-8) or bytes.

    Returns:
        ``path``.

    Raises:
        OSError: The disk is full, or the file cannot be written; it is then unchanged.
    """
    with replacing(path) as temporary:
        temporary.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def append_durably(path: Path, text: str) -> None:
    """Append text in a single write, so that after a crash the file has all of it or none of it.

    Raises:
        OSError: The disk is full, or the file cannot be written.
    """
    data = text.encode()
    with naming(path), open(path, "ab", buffering=0) as file:
        before = os.fstat(file.fileno()).st_size
        if file.write(data) < len(data):  # a full disk may take a part of the data without an error
            file.truncate(before)
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(file.fileno())


class FolderLock:
    """A lock that allows one writer per folder, identified by host, process number and start of the process.

    A lock left by a process of this host that no longer runs is taken over. A lock of another host is always
    respected, because its process cannot be checked.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / ".lock"
        self._identity = json.dumps(_identity(os.getpid()))

    def acquire(self) -> None:
        """Take the lock.

        Raises:
            InputError: Another process that runs, or may run, writes to this folder.
        """
        with _temporary_beside(self.path, self._identity) as candidate:
            for _ in range(3):
                try:
                    # A hard link appears with its content, unlike a file created and then filled.
                    os.link(candidate, self.path)
                    return
                except FileExistsError:
                    self._remove_if_stale()
        raise InputError(
            f"run folder {self.path.parent}: other processes take its lock repeatedly; try again."
        )

    def release(self) -> None:
        """Release the lock; does nothing if another process holds it."""
        with contextlib.suppress(FileNotFoundError):
            if self.path.read_text() == self._identity:
                self.path.unlink()

    def holder(self) -> dict[str, object] | None:
        """Process that holds the lock, as ``"pid"`` and ``"host"``; ``None`` if no running process does."""
        try:
            holder = _parse(self.path.read_text())
        except OSError:
            return None
        return holder if _may_be_alive(holder) else None

    def _remove_if_stale(self) -> None:
        try:
            text = self.path.read_text()
        except FileNotFoundError:
            return
        holder = _parse(text)
        if _may_be_alive(holder):
            raise InputError(
                f"run folder {self.path.parent}: process {holder['pid']} on {holder['host']} writes "
                "to it. Wait for it, or choose another folder; if that process no longer runs, delete "
                f"{self.path}.",
                folder=str(self.path.parent),
                **holder,
            )
        moved = self.path.with_name(f".lock.{os.getpid()}{PART_SUFFIX}")
        with contextlib.suppress(FileNotFoundError):
            os.rename(self.path, moved)
            if moved.read_text() != text:
                # Another process took the stale lock over first: the file moved away is its lock.
                with contextlib.suppress(FileExistsError):
                    os.link(moved, self.path)
            moved.unlink()


@contextlib.contextmanager
def _temporary_beside(path: Path, text: str) -> Iterator[Path]:
    temporary = path.with_name(f"{path.name}.new.{os.getpid()}{PART_SUFFIX}")
    try:
        with naming(path):
            temporary.write_text(text)
            yield temporary
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _identity(pid: int) -> dict[str, object]:
    return {"pid": pid, "host": socket.gethostname(), "process_start": _process_start(pid)}


def _parse(text: str) -> dict[str, object]:
    try:
        holder = json.loads(text)
        pid, host, start = (holder[key] for key in ("pid", "host", "process_start"))
        return {"pid": int(pid), "host": str(host), "process_start": start}
    except (ValueError, KeyError, TypeError):
        return {"pid": 0, "host": "an unknown host", "process_start": None}


def _may_be_alive(holder: dict[str, object]) -> bool:
    if holder["host"] != socket.gethostname():
        return True
    pid = holder["pid"]
    assert isinstance(pid, int)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    # The number may have been given to a new process in the meantime.
    return holder["process_start"] == _process_start(pid)


def _process_start(pid: int) -> str | None:
    """Start of a process in clock ticks since boot; ``None`` where the system does not provide it."""
    try:
        stat = Path(f"/proc/{pid}/stat").read_text()
    except OSError:
        return None
    return stat.rpartition(")")[2].split()[19]
