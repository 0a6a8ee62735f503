# SPDX-License-Identifier: MIT
"""Scans as binary PLY files or as tables."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from annelid.compare.scans.point_cloud import PointCloud
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.writing import naming, replacing

SUFFIXES = (".ply", ".csv")


def write_scan(cloud: PointCloud, path: Path | str, *, comments: Sequence[str] = ()) -> None:
    """Write a scan as a binary PLY file with its triangles, or as a CSV file of its points, in mm.

    Args:
        cloud: The scan.
        path: File that ends in ``.ply`` or ``.csv``; it is replaced as a whole.
        comments: Lines for its header.

    Raises:
        InputError: The name has another end.
        OSError: The file cannot be written; it is then unchanged.
    """
    target = Path(path)
    if target.suffix.lower() not in SUFFIXES:
        raise InputError(f"scan {target}: the name must end in {' or '.join(SUFFIXES)}", path=str(path))
    lines = [line for comment in comments for line in comment.splitlines()]
    with naming(target), replacing(target) as temporary:
        if target.suffix.lower() == ".ply":
            temporary.write_bytes(_ply(cloud, lines))
        else:
            names, values = _columns(cloud, "_mm")
            head = [*(f"# {line}" for line in lines), ",".join(names)]
            np.savetxt(temporary, values, fmt="%.9g", delimiter=",", header="\n".join(head), comments="")


def _columns(cloud: PointCloud, unit: str) -> tuple[list[str], FloatArray]:
    names, columns = [f"{axis}{unit}" for axis in "xyz"], [cloud.points]
    if cloud.normals is not None:
        names += ["nx", "ny", "nz"]
        columns.append(cloud.normals)
    if cloud.intensities is not None:
        names.append("intensity")
        columns.append(cloud.intensities[:, None])
    return names, np.column_stack(columns)


def _ply(cloud: PointCloud, comments: Sequence[str]) -> bytes:
    names, values = _columns(cloud, "")
    header = ["ply", "format binary_little_endian 1.0", "comment lengths in mm"]
    header += [f"comment {line}" for line in comments]
    header += [f"element vertex {len(values)}", *(f"property double {name}" for name in names)]
    content = values.astype("<f8").tobytes()
    if cloud.faces is not None:
        header += [f"element face {len(cloud.faces)}", "property list uchar int vertex_indices"]
        faces = np.empty(len(cloud.faces), dtype=[("count", "u1"), ("corners", "<i4", 3)])
        faces["count"], faces["corners"] = 3, cloud.faces
        content += faces.tobytes()
    return "\n".join([*header, "end_header", ""]).encode() + content
