# SPDX-License-Identifier: MIT
"""The files of a measured surface: the CSV file of a case, its uncertainty, a picture and a summary."""

from pathlib import Path
from typing import Any

import numpy as np

from annelid.compare.comparison.files import new_folder
from annelid.compare.measured.scanned import MeasuredScan
from annelid.compare.measured.surface_figure import surface_figure
from annelid.compare.scans.cleaning import KEPT
from annelid.geometry.body import FloatArray
from annelid.geometry.lattice.measured_surface import COLUMNS
from annelid.results.atomic import write_atomically
from annelid.results.folder.digests import digests_of, write_sealed
from annelid.results.folder.folder_files import SUMMARY

CSV, UNCERTAINTY, PICTURE = "surface.csv", "surface_uncertainty.csv", "surface.png"
FILES = (CSV, UNCERTAINTY, PICTURE, SUMMARY)
KIND = "measured surface"
CAUTION = (
    "The standard deviation contains noise, smoothing and holes. It does not contain errors that all points "
    "share, such as a wrong scale, or light that enters translucent rubber before it returns."
)
_WIDE = 1.959964  # standard deviations of a 95 % interval


def write_surface(measured: MeasuredScan, folder: Path) -> Path:
    """Write all files of a measured surface into a new folder, and return its CSV file.

    Raises:
        InputError: The folder contains anything else than an earlier measured surface.
        OSError: A file cannot be written.
    """
    with new_folder(folder, kind=KIND, files=FILES) as temporary:
        write_atomically(temporary / CSV, _table(measured, uncertain=False))
        write_atomically(temporary / UNCERTAINTY, _table(measured, uncertain=True))
        write_atomically(temporary / PICTURE, surface_figure(measured))
        files = digests_of(temporary, (CSV, UNCERTAINTY, PICTURE))
        write_sealed(temporary / SUMMARY, {**summary(measured), "files": files})
    return folder / CSV


def summary(measured: MeasuredScan) -> dict[str, Any]:
    """What a program wants to know about a measured surface."""
    surface = measured.surface
    residual = surface.residual[surface.inlier]
    return {
        "kind": KIND,
        "scan": measured.scan.name,
        "sha256": measured.digest,
        "unit": measured.unit,
        "invented": measured.invented,
        "heights [mm]": [float(surface.heights[0]), float(surface.heights[-1])],
        "mean radius [mm]": float(surface.radius.mean()),
        "grid": {"angles": len(surface.angles), "heights": len(surface.heights)},
        "points": _points(measured),
        "residual": {
            "root mean square [mm]": float(np.sqrt(np.mean(residual**2))),
            "standard deviation [mm]": surface.noise,
        },
        "smoothing": {
            "chosen by": "generalised cross-validation",
            "logarithms around and along": list(surface.smoothing),
            "splines around and along": list(surface.basis),
            "effective number of parameters": surface.freedom,
            "score": surface.score,
        },
        "holes": {
            "share filled": surface.filled_share,
            "width of the largest [mm]": surface.widest_hole,
            "largest allowed [diameters]": measured.settings.largest_hole,
            "factor on the standard deviation": surface.hole_factor,
        },
        "standard deviation of the radius": {
            **_median_and_largest("measured", surface.deviation[~surface.filled]),
            **_median_and_largest("holes", surface.deviation[surface.filled]),
        },
        "remarks": [*measured.remarks, CAUTION],
    }


def _points(measured: MeasuredScan) -> dict[str, int]:
    removed, surface = measured.cleaned.removed, measured.surface
    return {
        "in the scan": len(removed),
        "left by the cleaning": int((removed == KEPT).sum()),
        "within the heights": len(surface.residual),
        "outliers about the surface": int((~surface.inlier).sum()),
    }


def _median_and_largest(where: str, values: FloatArray) -> dict[str, float | None]:
    return {
        f"{where}, median [mm]": float(np.median(values)) if len(values) else None,
        f"{where}, largest [mm]": float(values.max()) if len(values) else None,
    }


def lines_of(measured: MeasuredScan) -> list[str]:
    """Lines for the terminal."""
    surface = measured.surface
    residual = surface.residual[surface.inlier]
    return [
        *(["invented scan: no part was measured"] if measured.invented else []),
        *measured.remarks,
        f"{int(surface.inlier.sum())} points lie about the surface with a root mean square of "
        f"{np.sqrt(np.mean(residual**2)):.3g} mm; {int((~surface.inlier).sum())} outliers were left out.",
        f"95 % interval of the radius: {_WIDE * np.median(surface.deviation[~surface.filled]):.2g} mm either "
        "way (median where it was measured).",
        f"{100 * surface.filled_share:.1f} % of the surface lies in holes and was filled, the widest "
        f"{surface.widest_hole:.3g} mm; there 95 % intervals reach "
        f"{_WIDE * surface.deviation[surface.filled].max():.2g} mm either way."
        if surface.filled.any()
        else "It has no holes.",
    ]


def _table(measured: MeasuredScan, *, uncertain: bool) -> str:
    surface = measured.surface
    header = [*COLUMNS] + ["standard_deviation_mm", "points", "filled"] * uncertain
    rows = [",".join(header)]
    for i, angle in enumerate(np.degrees(surface.angles)):
        for j, height in enumerate(surface.heights):
            row = f"{angle:.10g},{height:.6f},{surface.radius[i, j]:.6f}"
            if uncertain:
                row += f",{surface.deviation[i, j]:.6f},{surface.count[i, j]},{int(surface.filled[i, j])}"
            rows.append(row)
    return "\n".join(rows) + "\n"
