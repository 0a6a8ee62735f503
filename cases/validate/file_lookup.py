# SPDX-License-Identifier: MIT
"""Finding the file that an argument of the command line refers to."""

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
    if path.suffix == "" and not path.is_file() and name in library:
        return library[name]
    if not path.is_file():
        reason = "is a folder" if path.is_dir() else "does not exist"
        text = f"{name}: {reason}, and there is no library {what} of that name{nearest(name, list(library))}"
        plural = {"case": "cases", "study": "studies"}[what]
        raise InputError(f"{text}; library {plural}: {', '.join(library)}", key=name)
    return path
