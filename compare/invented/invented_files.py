# SPDX-License-Identifier: MIT
"""Files of an invented scan; each says that it is invented."""

import json
from dataclasses import asdict
from pathlib import Path

import numpy as np

from annelid.compare.invented.invented_scan import GHOST, OUTLIER, SURFACE, Truth
from annelid.compare.scans.point_cloud import PointCloud
from annelid.compare.scans.writing import write_scan
from annelid.geometry.writing import naming, replacing

STATEMENT = "invented scan, computed from a simulation: no part was measured"


def write_invented_scan(cloud: PointCloud, truth: Truth, path: Path | str) -> tuple[Path, Path]:
    """Write an invented scan and the truth about it.

    Args:
        cloud: The scan.
        truth: What is true of it.
        path: File of the scan, PLY or CSV.

    Returns:
        The files of the truth beside it: ``<name>.truth.json`` with pose, parameters and numbers of points,
        and ``<name>.truth.npz`` with the arrays over the points.

    Raises:
        InputError: The name of the file has another end.
        OSError: A file cannot be written.
    """
    target = Path(path)
    write_scan(cloud, target, comments=[STATEMENT, f"seed {truth.scanner.seed}"])
    kinds = {"surface": SURFACE, "ghost": GHOST, "outlier": OUTLIER}
    summary = {
        "statement": STATEMENT,
        "rotation": truth.rotation.tolist(),
        "translation_mm": truth.translation.tolist(),
        "points": {name: int((truth.origin == number).sum()) for name, number in kinds.items()},
        "scanner": asdict(truth.scanner),
    }
    described, arrays = target.with_suffix(".truth.json"), target.with_suffix(".truth.npz")
    with naming(described), replacing(described) as temporary:
        temporary.write_text(json.dumps(summary, indent=2) + "\n", encoding="utf-8")
    with naming(arrays), replacing(arrays, suffix=".part.npz") as temporary:
        values = {name: getattr(truth, name) for name in ("origin", "positions", "depth", "view")}
        np.savez_compressed(temporary, statement=np.array(STATEMENT), **values)
    return described, arrays
