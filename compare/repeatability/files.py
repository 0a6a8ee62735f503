# SPDX-License-Identifier: MIT
"""The files of several scans: tables, fields for ParaView, summary."""

import csv
import io
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet

from annelid.compare.comparison.files import new_folder
from annelid.compare.repeatability.repeated import Repeatability
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.compare.repeatability.summary import KIND, summary
from annelid.geometry.body import FloatArray
from annelid.geometry.writing import naming
from annelid.results.atomic import write_atomically
from annelid.results.fields.vtk_files import surface_file
from annelid.results.folder.digests import digests_of, write_sealed
from annelid.results.folder.folder_files import SUMMARY

PAGE = "repeatability.html"
MEASURES, PRECISION, SURFACE, FIELDS = "measures.csv", "precision.csv", "spread.vtp", "fields.parquet"
FILES = (PAGE, MEASURES, PRECISION, SURFACE, FIELDS, SUMMARY)
_DECIMALS = 6


def write_repeatability(found: Repeatability, page: str, folder: Path) -> None:
    """Write all files into a folder that appears with all of them or not at all.

    Raises:
        InputError: The folder has other content.
        OSError: A file cannot be written.
    """
    with new_folder(folder, kind=KIND, files=FILES) as temporary:
        write_atomically(temporary / MEASURES, _measures(found))
        write_atomically(temporary / PRECISION, _precision(found))
        about = {"list": [found.file.name], "state": [str(found.part.state)]}
        content = surface_file(found.places.points, found.places.triangles, _arrays(found), about)
        write_atomically(temporary / SURFACE, content)
        with naming(temporary / FIELDS):
            pyarrow.parquet.write_table(_fields(found), temporary / FIELDS)
        write_atomically(temporary / PAGE, page)
        digests = digests_of(temporary, FILES[:-1])
        write_sealed(temporary / SUMMARY, {**summary(found), "files": digests})


def _measures(found: Repeatability) -> str:
    headers = ["scan", "part", "operator", "repeat", "method", "coverage"]
    headers += [f"{name} [{found.unit(name)}]" for name in found.names]
    rows = []
    for scan, values in zip(found.scans, found.values, strict=True):
        entry = scan.entry
        words = [entry.scan.name, entry.part, entry.operator, entry.repeat, entry.method]
        rows.append([*words, _number(scan.coverage), *map(_number, values)])
    return _csv(headers, rows)


def _precision(found: Repeatability) -> str:
    headers = ["measure", "unit", "part", "number", "mean", "repeatability s.d.", "repeatability limit"]
    headers += ["reproducibility s.d.", "reproducibility limit", "s.d. between parts"]
    entries = [(name, "all", p) for name, p in found.precision.items()]
    entries += [(name, part, p) for (name, part), p in found.levels.items()]
    rows = []
    for name, part, p in entries:
        numbers = [p.mean, p.repeatability.value, p.repeatability.limit, p.reproducibility.value]
        numbers += [p.reproducibility.limit, p.parts.value]
        rows.append([name, found.unit(name), part, str(p.number), *map(_number, numbers)])
    return _csv(headers, rows)


def _arrays(found: Repeatability) -> dict[str, FloatArray]:
    spread = found.spread
    arrays = {
        "mean deviation [mm]": spread.mean,
        "standard deviation [mm]": spread.deviation,
        "repeatability [mm]": spread.repeatability,
        "reproducibility [mm]": spread.reproducibility,
        "between parts [mm]": spread.parts,
        "number of scans": spread.number,
    }
    if isinstance(found.shapes, ShapeModes):
        arrays |= {f"mode {i} [mm]": shape for i, shape in enumerate(found.shapes.modes.shapes, 1)}
    if found.study is not None and not found.study.shapes.without:
        arrays["between parts of the study [mm]"] = found.study.shapes.spread
    return arrays


def _fields(found: Repeatability) -> pa.Table:
    """Places and the deviation of each scan there."""
    columns = {f"{axis} [mm]": np.round(found.places.points[:, i], _DECIMALS) for i, axis in enumerate("xyz")}
    columns["share of the area"] = found.places.weight
    for i, scan in enumerate(found.scans, 1):
        value = np.round(scan.deviation, _DECIMALS).astype(np.float32)
        columns[f"{i} {scan.entry.scan.name} [mm]"] = pa.array(value, mask=np.isnan(value))
    return pa.table(columns)


def _csv(headers: list[str], rows: list[list[str]]) -> str:
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows([headers, *rows])
    return buffer.getvalue()


def _number(value: float) -> str:
    return f"{float(value):.9g}" if np.isfinite(value) else ""
