# SPDX-License-Identifier: MIT
"""Named points that are known on a scan and on the part, read from a table."""

import csv
import io
from pathlib import Path

import numpy as np

from annelid.compare.alignment.landmarks import Fiducials
from annelid.compare.scans.units import unit_scale
from annelid.geometry.body import FloatArray
from annelid.geometry.errors import InputError
from annelid.geometry.text_files import read_columns, read_text

_PLACES = ("x_scan", "y_scan", "z_scan", "x_part", "y_part", "z_part")
_LARGEST = 1_000_000  # bytes


def read_named_points(path: Path, *, unit: str) -> Fiducials:
    """Read a CSV file with the columns name, x_scan, y_scan, z_scan, x_part, y_part, z_part.

    Args:
        path: The file. Positions on the scan are in the frame of the scan, those on the part in the frame of
            the part (axis Z) in the compared state, in mm.
        unit: Unit of the positions on the scan.

    Raises:
        InputError: The file cannot be read, lacks a column, or has a row that is not a named point.
    """
    scale, places = unit_scale(unit), read_columns(path, _PLACES)
    rows = csv.DictReader(io.StringIO(read_text(path, most=_LARGEST)), restval="")
    names = [str(row.get("name") or "").strip() for row in rows]
    if "" in names or len(set(names)) < len(names):
        text = "needs a column name, with another name in each row"
        raise InputError(f"named points {path}: {text}", key="--points", path=str(path))
    return {name: (scale * row[:3], row[3:]) for name, row in zip(names, places, strict=True)}


def about(covariance: FloatArray, centre: FloatArray, other: FloatArray) -> FloatArray:
    """Return the covariance of a motion about another centre, shape (6, 6).

    Args:
        covariance: Of rotation vector (rad) and shift (mm) about ``centre``, shape (6, 6).
        centre: Shape (3,), mm.
        other: The other centre, shape (3,), mm.
    """
    x, y, z = other - centre
    change = np.eye(6)
    change[3:, :3] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]  # the shift there: ω × (other - centre)
    return np.asarray(change @ covariance @ change.T)
