# SPDX-License-Identifier: MIT
"""The summary of several scans for programs."""

from typing import Any

from annelid.compare.repeatability.consistency import Consistency
from annelid.compare.repeatability.mode_names import mode_name
from annelid.compare.repeatability.point_spread import root_mean_square
from annelid.compare.repeatability.precision import Precision, StandardDeviation
from annelid.compare.repeatability.repeated import Repeatability, StudyBeside
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.results.folder.digests import digests_of
from annelid.results.folder.folder_files import SUMMARY as RUN_SUMMARY

KIND, FORMAT = "annelid repeatability", 1


def summary(found: Repeatability) -> dict[str, Any]:
    """Return the content of ``summary.json``; lengths in mm, volumes in mm³, levels of tests in the names."""
    run = found.part.run
    return {
        "kind": KIND,
        "format": FORMAT,
        "run": {
            "folder": str(run.path),
            "title": run.title,
            "case_hash": run.provenance["case_hash"],
            "sha256 of summary.json": digests_of(run.path, [RUN_SUMMARY])[RUN_SUMMARY],
            "state": found.part.state,
            "surface": found.settings.surface,
        },
        "scans": [_scan(scan) for scan in found.scans],
        "method": found.method,
        "parts": found.design.parts,
        "operators": found.design.operators,
        "fields are means around the axis": found.ringed,
        "spread over the surface_mm": {
            name: root_mean_square(getattr(found.spread, name), found.places.weight)
            for name in ("mean", "deviation", "repeatability", "reproducibility", "parts")
        },
        "measures": {
            name: {"unit": found.unit(name), **_precision(p)} for name, p in found.precision.items()
        },
        "levels": [
            {"measure": name, "part": part, **_precision(p)} for (name, part), p in found.levels.items()
        ],
        "consistency": [_test(*entry) for entry in found.consistency],
        "modes": _modes(found.shapes) if isinstance(found.shapes, ShapeModes) else {"reason": found.shapes},
        "agreement": {
            "compared": found.compared,
            "measures": {name: entry._asdict() for name, entry in found.agreements.items()},
        },
        "study": None if found.study is None else _study(found, found.study),
    }


def _test(name: str, what: str, test: Consistency) -> dict[str, Any]:
    return {
        "measure": name,
        "tested": what,
        "test": test.test,
        "group": test.group,
        "statistic": test.statistic,
        "critical value at 5 %": test.critical[0],
        "critical value at 1 %": test.critical[1],
        "verdict": test.verdict,
    }


def _scan(scan: Any) -> dict[str, Any]:
    entry = scan.entry
    return {
        "scan": str(entry.scan),
        "sha256": scan.digest,
        "part": entry.part,
        "operator": entry.operator,
        "repeat": entry.repeat,
        "method": entry.method,
        "unit": entry.unit,
        "invented": scan.invented,
        "coverage": scan.coverage,
        "measures": dict(scan.measures),
    }


def _precision(entry: Precision) -> dict[str, Any]:
    return {
        "mean": entry.mean,
        "number": entry.number,
        "repeatability": _deviation(entry.repeatability, with_limit=True),
        "reproducibility": _deviation(entry.reproducibility, with_limit=True),
        "between parts": _deviation(entry.parts),
        "components of variance": entry.components,
        "set to zero": [name for name, value in entry.components.items() if value < 0.0],
        "analysis of variance": {
            source: dict(zip(("squares", "degrees of freedom", "mean square", "F", "p"), row, strict=True))
            for source, row in entry.analysis.items()
        },
    }


def _deviation(entry: StandardDeviation, *, with_limit: bool = False) -> dict[str, float]:
    limit = {"limit": entry.limit} if with_limit else {}
    return {
        "standard deviation": entry.value,
        "low": entry.low,
        "high": entry.high,
        "degrees of freedom": entry.degrees,
        **limit,
    }


def _modes(shapes: ShapeModes) -> dict[str, Any]:
    return {
        "rows": shapes.rows,
        "rows are": "parts" if shapes.of_parts else "scans",
        "energy": shapes.modes.energy,
        "looks": [mode_name(shares) for shares in shapes.shares],
        "shares": shapes.shares,
        "scores": shapes.modes.scores,
        "tests": [test._asdict() for test in shapes.tests],
        "area": shapes.area,
        "outlying": shapes.outlying.found,
        "outlier tests": {
            "by scores": [suspect._asdict() for suspect in shapes.outlying.by_modes],
            "by what the modes leave": [suspect._asdict() for suspect in shapes.outlying.by_rest],
            "reason": shapes.outlying.reason,
        },
    }


def _study(found: Repeatability, study: StudyBeside) -> dict[str, Any]:
    return {
        "folder": str(study.study.folder),
        "title": study.study.title,
        "parts": len(study.study.runs),
        "without shapes": study.shapes.without,
        "spread over the surface_mm": root_mean_square(study.shapes.spread, found.places.weight),
        "measures": {
            row.measure: {
                "measured": _deviation(row.measured),
                "simulated": _deviation(row.simulated),
                "source": row.source,
                "ratio": row.ratio,
                "low": row.low,
                "high": row.high,
                "shares": row.shares,
                "method": row.method,
            }
            for row in study.rows
        },
    }
