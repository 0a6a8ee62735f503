# SPDX-License-Identifier: MIT
"""Points and triangles of PLY, STL and OBJ files, read by trimesh.

Its readers are pure Python over numpy, so a damaged file raises an exception; materials and textures, which
are other files, are never opened.
"""

import io
import logging
import re
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from annelid.compare.scans.file_content import INTENSITIES, FileContent, Unreadable
from annelid.compare.scans.grouping import first_of_equal_rows

_LARGEST_HEADER = 100_000  # bytes
_STL_HEADER, _STL_TRIANGLE = 84, 50  # bytes

logging.getLogger("trimesh").addHandler(logging.NullHandler())  # its warnings would appear beside our error


def read_ply(content: bytes) -> FileContent:
    """Read an ASCII or binary PLY file; the faces must all have the same number of corners.

    Raises:
        Unreadable: The header promises more than the file holds, or there are no points.
    """
    from trimesh.exchange.ply import load_ply

    declared = _declared_rows(content)
    loaded = load_ply(io.BytesIO(content), skip_materials=True)
    if "vertices" not in loaded:
        raise Unreadable("it has no points")
    rows = loaded["metadata"]["_ply_raw"]["vertex"]
    points, faces = loaded["vertices"], loaded.get("faces")
    if len(points) != declared["vertex"] or (faces is None and declared.get("face")):
        raise Unreadable("it ends before all points and faces that its header declares")
    values = {str(name).lower(): rows["data"][name] for name in rows["properties"]}
    found = [np.ravel(values[name]) for name in INTENSITIES if name in values]
    return FileContent(points, loaded.get("vertex_normals"), found[0] if found else None, _triangles(faces))


def read_stl(content: bytes) -> FileContent:
    """Read an ASCII or binary STL file; equal corners of triangles become one point.

    Raises:
        Unreadable: The header promises another size, or there are no triangles.
    """
    from trimesh.exchange.stl import load_stl

    count = int.from_bytes(content[80:_STL_HEADER], "little")
    expected = _STL_HEADER + _STL_TRIANGLE * count
    if len(content) != expected or len(content) < _STL_HEADER:
        if content[:5].lower() != b"solid":
            raise Unreadable(
                f"its header declares {count} triangles in {expected} bytes, but it has {len(content)} bytes"
            )
        if b"endsolid" not in content.lower():
            raise Unreadable("it ends before its last triangle")
        content = b"\n".join([b"solid", *_lines(content.lower(), b"vertex"), b"endsolid"])
    return _joined(load_stl(io.BytesIO(content)))


def read_obj(content: bytes) -> FileContent:
    """Read the points, normals and faces of an OBJ file; equal points become one.

    Raises:
        Unreadable: There are no points.
    """
    from trimesh.exchange.obj import load_obj

    lines = _lines(content.replace(b"\\\r\n", b" ").replace(b"\\\n", b" "), b"v ", b"vn ", b"f ")
    return _joined(load_obj(io.BytesIO(b"\n".join(lines)), skip_materials=True))


def _lines(content: bytes, *starts: bytes) -> list[bytes]:
    """The lines with some starts, without those of groups, for whose many names trimesh takes long."""
    stripped = (line.strip() for line in content.replace(b"\r", b"\n").split(b"\n"))
    return [line for line in stripped if line.startswith(starts)]


def _declared_rows(content: bytes) -> dict[str, int]:
    """Rows of each element of a PLY file as its header declares them; a row has at least one byte."""
    header, end, _ = content[:_LARGEST_HEADER].partition(b"end_header")
    if not end:
        raise Unreadable("its header has no end")
    found = re.findall(rb"^[ \t]*element[ \t]+(\S+)[ \t]+(\d{1,18})[ \t\r]*$", header, re.MULTILINE)
    declared = {name.decode("latin-1"): int(count) for name, count in found}
    promised, size = sum(declared.values()), len(content) - len(header)
    if promised > size:
        raise Unreadable(f"its header declares {promised} points and faces, but {size} bytes follow")
    if not declared.get("vertex"):
        raise Unreadable("it has no points")
    return declared


def _joined(loaded: Mapping[str, Any]) -> FileContent:
    """Join the meshes of a file and keep one of equal points."""
    pieces: Iterable[Mapping[str, Any]] = loaded.get("geometry", {"": loaded}).values()
    pieces = [piece for piece in pieces if len(piece.get("vertices", ()))]
    if not pieces:
        raise Unreadable("it has no points or triangles")
    starts = np.cumsum([0, *(len(piece["vertices"]) for piece in pieces)])
    points = np.concatenate([np.asarray(piece["vertices"], dtype=np.float64) for piece in pieces])
    normals = [piece["vertex_normals"] for piece in pieces if piece.get("vertex_normals") is not None]
    faces = [
        triangles + start
        for piece, start in zip(pieces, starts, strict=False)
        if (triangles := _triangles(piece.get("faces"))) is not None
    ]
    first, members = first_of_equal_rows(points)
    return FileContent(
        points[first],
        np.concatenate(normals)[first] if len(normals) == len(pieces) else None,
        None,
        members[np.concatenate(faces)] if faces else None,
    )


def _triangles(faces: Any) -> NDArray[Any] | None:
    """Split faces of equally many corners into triangles around their first corner."""
    if faces is None:
        return None
    corners = np.asarray(faces).astype(np.int64)
    if corners.ndim != 2 or corners.shape[1] < 3:
        raise Unreadable("its faces do not all have the same number of corners, at least three")
    return np.concatenate([corners[:, [0, i, i + 1]] for i in range(1, corners.shape[1] - 1)])
