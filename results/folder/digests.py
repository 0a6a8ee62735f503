# SPDX-License-Identifier: MIT
"""SHA-256 digests of the files of a Run folder, by which a reader finds a file that the run did not write.

``provenance.json`` has the digests of the files that a run writes at its start, ``summary.json`` those of all
its files. Both end with a digest of their own content.
"""

import hashlib
import json
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_text
from annelid.results.folder.folder_files import json_value, write_json

__all__ = ["check_digests", "digest_of", "digests_of", "read_sealed", "unreadable", "write_sealed"]

_OWN = "digest"
_LARGEST = 100_000_000  # bytes; a summary has some 10,000


def digest_of(content: bytes) -> str:
    """Return the digest of the content of a file."""
    return hashlib.sha256(content).hexdigest()


def digests_of(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Return the digests of files of a folder by name."""
    return {name: _digest_of_file(folder / name) for name in names}


def check_digests(folder: Path, digests: Mapping[str, str]) -> None:
    """Check that files are those that were written.

    Raises:
        InputError: A file is missing, cannot be read or has another digest.
    """
    for name, digest in digests.items():
        try:
            found = _digest_of_file(folder / name)
        except OSError as error:
            raise unreadable(folder / name, f"cannot be read ({error.strerror})") from None
        if found != digest:
            raise unreadable(folder / name, "is not as the run wrote it")


def write_sealed(path: Path, content: Mapping[str, Any]) -> Path:
    """Write a JSON object atomically, with a digest of its content as last member."""
    members = json_value(content)
    return write_json(path, {**members, _OWN: _digest_of_members(path, members)})


def read_sealed(path: Path) -> dict[str, Any]:
    """Read a JSON object that :func:`write_sealed` wrote.

    Raises:
        InputError: The file is missing, cannot be read, or its content has another digest.
    """
    try:
        content = json.loads(read_text(path, most=_LARGEST))
        digest = content.pop(_OWN)
        if digest == _digest_of_members(path, content):
            return dict(content)
    except InputError as error:
        raise unreadable(path, error.message.removeprefix(f"{path}: ")) from None
    except (ValueError, RecursionError, LookupError, TypeError, AttributeError):
        pass  # anything but a JSON object with a digest
    raise unreadable(path, "is not as the run wrote it")


def unreadable(path: Path, problem: str) -> InputError:
    """Return the error about a file of a Run folder that cannot be used."""
    text = "run the case again (annelid run --again, or start its study again)"
    return InputError(f"{path}: {problem}; {text}", path=str(path), problem=f"{path.name} {problem}")


def _digest_of_file(path: Path) -> str:
    if not stat.S_ISREG(path.stat().st_mode):  # a pipe may never end
        raise OSError(None, "it is not a regular file")
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _digest_of_members(path: Path, members: Mapping[str, Any]) -> str:
    """Digest of a content and the name of its file, so that one file in the place of another is found."""
    return digest_of(json.dumps([path.name, members]).encode())
