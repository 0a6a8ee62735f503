# SPDX-License-Identifier: MIT
"""The files of a comparison, and the folder that appears with all of them or not at all."""

import contextlib
import glob
import os
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import psutil
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet

from annelid.compare.comparison.compared import NO_PARTNER, OUTLIER, Comparison
from annelid.compare.comparison.map_surface import MapSurface
from annelid.compare.comparison.summary import KIND, summary
from annelid.compare.scans.writing import write_scan
from annelid.geometry.errors import InputError
from annelid.geometry.writing import PART_SUFFIX, naming
from annelid.results.atomic import write_atomically
from annelid.results.fields.vtk_files import surface_file
from annelid.results.folder.digests import digests_of, write_sealed
from annelid.results.folder.folder_files import SUMMARY, read_json

PAGE = "compare.html"
TABLE, PARQUET, SURFACE, ALIGNED = "deviation.csv", "deviation.parquet", "deviation.vtp", "aligned.ply"
FILES = (PAGE, TABLE, PARQUET, SURFACE, ALIGNED, SUMMARY)
"""Files of the folder of a comparison."""
_DECIMALS = 6  # of lengths in mm
COUNTED = "counted"
"""Use of a point that counts."""


def write_files(compared: Comparison, surface: MapSurface, page: str, folder: Path) -> None:
    """Write all files of a comparison into a folder that exists.

    Raises:
        OSError: A file cannot be written.
    """
    table = deviation_table(compared)
    with naming(folder / TABLE):
        pyarrow.csv.write_csv(table, folder / TABLE)
    with naming(folder / PARQUET):
        pyarrow.parquet.write_table(table, folder / PARQUET)
    arrays = {"deviation [mm]": surface.deviation}
    about = {"scan": [compared.scan.name], "state": [str(compared.part.state)]}
    content = surface_file(surface.points, surface.triangles, arrays, about)
    write_atomically(folder / SURFACE, content)
    write_scan(compared.placed, folder / ALIGNED, comments=_comments(compared))
    write_atomically(folder / PAGE, page)
    files = digests_of(folder, (TABLE, PARQUET, SURFACE, ALIGNED, PAGE))
    write_sealed(folder / SUMMARY, {**summary(compared), "files": files})


def deviation_table(compared: Comparison) -> pa.Table:
    """Return a row for each point that the cleaning left: place, deviation and whether it counts."""
    points = np.round(compared.placed.points, _DECIMALS)
    value = np.full(len(points), np.nan)
    value[compared.found.number] = np.round(compared.found.value, _DECIMALS)
    use = np.zeros(len(points), dtype=np.int8)
    use[compared.found.number] = 1
    use[compared.kept.number] = 2
    columns = {f"{axis} [mm]": points[:, i] for i, axis in enumerate("xyz")}
    columns["deviation [mm]"] = pa.array(value, mask=np.isnan(value))
    return pa.table({**columns, "use": pa.array([NO_PARTNER, OUTLIER, COUNTED]).take(pa.array(use))})


def _comments(compared: Comparison) -> list[str]:
    about = f"{compared.scan.name} in the frame of the part of {compared.part.run.path.name}"
    return [about, "invented scan: no part was measured"] if compared.invented else [about]


@contextlib.contextmanager
def new_folder(folder: Path, *, kind: str = KIND, files: Sequence[str] = FILES) -> Iterator[Path]:
    """Yield a temporary folder that becomes ``folder`` at the end, or is removed after an error.

    An earlier comparison (or other content of this kind) in ``folder`` is replaced.

    Raises:
        InputError: ``folder`` contains anything else.
        OSError: It cannot be created.
    """
    check_folder(folder, kind=kind, files=files)
    _remove_left_over(folder)
    made = [parent for parent in folder.parents if not parent.exists()]
    temporary = folder.with_name(f".{folder.name[:40]}.{os.getpid()}{PART_SUFFIX}")
    old = temporary.with_suffix(".old")
    try:
        temporary.mkdir(parents=True)
        yield temporary
        if folder.exists():
            os.replace(folder, old)
        os.replace(temporary, folder)
    finally:
        for left in (temporary, old):
            shutil.rmtree(left, ignore_errors=True)
        for parent in made:
            with contextlib.suppress(OSError):  # not empty: the folder was written
                parent.rmdir()


def _remove_left_over(folder: Path) -> None:
    """Remove temporary folders of processes that were killed while they wrote this one."""
    for left in folder.parent.glob(f".{glob.escape(folder.name[:40])}.*{PART_SUFFIX}"):
        number = left.name.removesuffix(PART_SUFFIX).rpartition(".")[2]
        if number.isdigit() and not psutil.pid_exists(int(number)):
            shutil.rmtree(left, ignore_errors=True)


def check_folder(folder: Path, *, kind: str = KIND, files: Sequence[str] = FILES) -> None:
    """Check that a folder is absent, empty or an earlier comparison (or other content of this kind).

    Raises:
        InputError: It contains anything else.
    """
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise InputError(f"{folder}: is not a folder; choose another", key="--out")
    names = {path.name for path in folder.iterdir()}
    foreign = sorted(names - set(files))
    if names and (foreign or (read_json(folder / SUMMARY) or {}).get("kind") != kind):
        content = ", ".join(foreign[:3] or sorted(names)[:3])
        text = f"contains something other than {_a(kind)} ({content}); nothing was written"
        raise InputError(f"{folder}: {text}. Choose a new or empty folder", key="--out")


def _a(kind: str) -> str:
    word = kind.removeprefix("annelid ")
    return word if word == "repeatability" else f"a {word}"
