# SPDX-License-Identifier: MIT
"""Writing whole files, and errors of the system about files in words."""

import contextlib
import errno
import os
from collections.abc import Iterator
from pathlib import Path

from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["PART_SUFFIX", "DiskFull", "naming", "replacing", "system_error"]

PART_SUFFIX = ".part"
_FULL = (errno.ENOSPC, errno.EDQUOT)
_MACHINE = (errno.EIO, errno.ENOMEM, errno.EMFILE, errno.ENFILE)
_ADVICE = {
    errno.EACCES: "check the permissions, or choose another folder",
    errno.EPERM: "check the permissions, or choose another folder",
    errno.EROFS: "choose another folder",
    errno.ENAMETOOLONG: "choose a shorter name",
}


class DiskFull(AnnelidError):
    """The disk is full, which is no failure of the case."""


def system_error(error: OSError) -> AnnelidError:
    """Return the error for the user: the path, the reason and what to do.

    Only errors about paths are errors of the input; a full disk and failures of the machine are not.
    """
    path = "" if error.filename is None else os.fsdecode(error.filename)
    head = f"{path or 'the output'}: {(error.strerror or str(error)).lower()}"
    data = {"path": path, "errno": error.errno}
    if error.errno in _FULL:
        return DiskFull(f"{head}; free some space, then start the same command again", **data)
    text = f"{head}; {_ADVICE[error.errno]}" if error.errno in _ADVICE else head
    return (AnnelidError if error.errno in _MACHINE else InputError)(text, **data)


@contextlib.contextmanager
def naming(path: Path) -> Iterator[None]:
    """Let errors of the system name this file instead of a temporary one or none."""
    try:
        yield
    except OSError as error:
        error.filename = str(path)
        raise


@contextlib.contextmanager
def replacing(path: Path, *, suffix: str = PART_SUFFIX) -> Iterator[Path]:
    """Yield a temporary file beside ``path`` that replaces it at the end, or is removed after an error.

    Args:
        path: The file; its folder must exist.
        suffix: End of the name of the temporary file, for writers that choose their format by it.

    Raises:
        OSError: The file cannot be written; it is then unchanged.
    """
    # A part of the name is enough, and the temporary name must not become too long.
    temporary = path.with_name(f".{path.name[:40]}.{os.getpid()}{suffix}")
    try:
        with naming(path):
            yield temporary
            with open(temporary, "rb") as file:
                os.fsync(file.fileno())
            os.replace(temporary, path)
    finally:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)
