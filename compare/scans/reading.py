# SPDX-License-Identifier: MIT
"""Reading scans of all formats, with one sentence for everything that makes a file unusable."""

import os
import stat
import warnings
from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np

from annelid.compare.scans.file_content import FileContent, Unreadable
from annelid.compare.scans.measured_points import measured_points
from annelid.compare.scans.mesh_files import read_obj, read_ply, read_stl
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.point_tables import read_table
from annelid.compare.scans.units import unit_scale
from annelid.compare.scans.vtp_files import read_vtp
from annelid.geometry.errors import InputError, InvalidValue

_MESHES: Mapping[str, Callable[[bytes], FileContent]] = {".ply": read_ply, ".stl": read_stl, ".obj": read_obj}
_TABLES = (".xyz", ".csv", ".txt")
SUFFIXES = (*_MESHES, ".vtp", *_TABLES)
"""Ends of the names of files that can be read."""
_LARGEST_FILE = 500_000_000  # bytes; text of triangles takes ten times its size
_PACKED = {b"PK\x03\x04": "zip", b"\x1f\x8b": "gzip", b"7z\xbc\xaf": "7z", b"BZh": "bzip2", b"\xfd7zXZ": "xz"}


def read_scan(path: Path | str, *, unit: str) -> PointCloud:
    """Read a scan.

    Files of meshes get normals from their triangles if they have none of their own; triangles without area
    and points in no triangle are left out. Nothing in a file is executed, and no file that it names is
    opened.

    Args:
        path: PLY, STL, OBJ or VTP file, or a table of points (XYZ, CSV, TXT).
        unit: Unit of the lengths in the file, one of ``UNITS``; it is never guessed.

    Raises:
        InputError: There is no such file, its format is unknown or damaged, or its points are no scan.
        InvalidValue: The unit is unknown, or contradicts the file.
    """
    scale, source = unit_scale(unit), Path(path)
    suffix = source.suffix.lower()
    if suffix not in SUFFIXES:
        raise _error(path, f"the name must end in {', '.join(SUFFIXES)}")
    start = _checked_start(path)
    packed = next((name for magic, name in _PACKED.items() if start.startswith(magic)), "")
    if packed:
        raise _error(path, f"is packed ({packed}); unpack it first")
    kind = suffix[1:].upper()
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("error", DeprecationWarning)  # numpy: text that is not a number
            content = _content(source, suffix, unit)
            return measured_points(content, scale)
    except InvalidValue as error:
        raise error.about(f"scan {path}") from None
    except Unreadable as error:
        raise _error(path, f"cannot be used as {kind}: {error}") from error
    except OSError as error:
        raise _error(path, f"cannot be read ({error.strerror})") from error
    except ImportError:
        raise
    except Exception as error:  # the readers of trimesh pass on whatever damaged files cause
        raise _error(path, f"is damaged, or is no {kind} file") from error


def _content(source: Path, suffix: str, unit: str) -> FileContent:
    if suffix == ".vtp":
        return read_vtp(source)
    content = source.read_bytes()
    return read_table(content, unit=unit) if suffix in _TABLES else _MESHES[suffix](content)


def _checked_start(path: Path | str) -> bytes:
    """First bytes of a regular file of limited size."""
    try:
        found = os.stat(path)
        if not stat.S_ISREG(found.st_mode):  # a pipe or a device may never end
            raise _error(path, "is not a regular file")
        if found.st_size == 0:
            raise _error(path, "is empty")
        if found.st_size > _LARGEST_FILE:
            size = f"{found.st_size / 1e6:.0f} MB; at most {_LARGEST_FILE / 1e6:g} MB are read"
            raise _error(path, f"is too large: {size}")
        with open(path, "rb") as file:
            return file.read(8)
    except OSError as error:
        raise _error(path, f"cannot be read ({error.strerror})") from None
    except ValueError:  # a null character
        raise _error(path, "is not the name of a file") from None


def _error(path: Path | str, problem: str) -> InputError:
    return InputError(f"scan {path}: {problem}", path=str(path))
