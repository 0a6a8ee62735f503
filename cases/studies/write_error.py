# SPDX-License-Identifier: MIT
"""Errors of writing a study folder, for the user."""

from pathlib import Path

from annelid.geometry.errors import AnnelidError, InputError
from annelid.geometry.writing import DiskFull, system_error

__all__ = ["write_error"]


def write_error(error: OSError, folder: Path) -> AnnelidError:
    """The error for the user if the study folder cannot be written."""
    if isinstance(system_error(error), DiskFull):
        return DiskFull(
            f"study folder {folder}: the disk is full. Finished runs are kept; free some space, "
            "then start the same command again"
        )
    return InputError(
        f"study folder {folder}: cannot be written ({error.strerror or error}); finished runs are kept. "
        "Make it writable, or choose another one with --out",
        key="--out",
    )
