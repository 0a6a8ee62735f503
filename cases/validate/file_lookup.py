# SPDX-License-Identifier: MIT
"""The file that a name on the command line means."""

from collections.abc import Mapping
from pathlib import Path

from annelid.geometry.checks import nearest
from annelid.geometry.errors import InputError

__all__ = ["find_file"]


def find_file(name: str, library: Mapping[str, Path], what: str) -> Path:
    """The file of a path, or of a name in the library where no file of that name lies.

    Args:
        name: Path or name.
        library: Files that come with the program, by name.
        what: ``"case"`` or ``"study"``.

    Raises:
        InputError: There is neither.
    """
    path = Path(name)
    if path.suffix == "" and not path.is_file() and name in library:
        return library[name]
    if not path.is_file():
        kind = "is a folder" if path.is_dir() else "is no file"
        text = f"{name}: {kind} and no library {what}{nearest(name, list(library))}"
        plural = {"case": "cases", "study": "studies"}[what]
        raise InputError(f"{text}; library {plural}: {', '.join(library)}", key=name)
    return path
