# SPDX-License-Identifier: MIT
"""Finding the file that an argument of the command line refers to."""

import os
from collections.abc import Mapping
from pathlib import Path

from annelid.geometry.checks import nearest
from annelid.geometry.errors import InputError

__all__ = ["find_file"]


def find_file(name: str, library: Mapping[str, Path], what: str) -> Path:
    """Return the file of a path; a name without a suffix may be that of a library file.

    Args:
        name: Path or name.
        library: Library files by name.
        what: ``"case"`` or ``"study"``.

    Raises:
        InputError: There is no such file and no such name.
    """
    path = Path(name)
    if path.suffix == "" and not os.path.isfile(path) and name in library:
        return library[name]
    if not os.path.isfile(path):
        reason = "is a folder" if os.path.isdir(path) else "does not exist"
        text = f"{name}: {reason}, and there is no library {what} of that name{nearest(name, list(library))}"
        plural = {"case": "cases", "study": "studies"}[what]
        raise InputError(f"{text}; library {plural}: {', '.join(library)}", key=name)
    return path
