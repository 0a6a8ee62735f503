# SPDX-License-Identifier: MIT
"""The summary of a comparison for programs."""

from typing import Any

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.limits import RULE
from annelid.compare.deviation.quantity_names import unit_of
from annelid.compare.deviation.statistics import statistics
from annelid.results.folder.digests import digests_of
from annelid.results.folder.folder_files import SUMMARY as RUN_SUMMARY

KIND, FORMAT = "annelid comparison", 1


def summary(compared: Comparison) -> dict[str, Any]:
    """Return the content of ``summary.json``; lengths in mm, angles of the pose in degrees."""
    return {
        "kind": KIND,
        "format": FORMAT,
        "run": _run(compared),
        "scan": _scan(compared),
        "cleaning": [step._asdict() for step in compared.cleaned.steps],
        "alignment": _alignment(compared),
        "points": _points(compared),
        "measures": {
            name: {"unit": unit_of(name), **value._asdict()} for name, value in compared.measures.items()
        },
        "verdicts": [verdict._asdict() for verdict in compared.verdicts],
        "decision rule": RULE,
        "scanner uncertainty_mm": compared.settings.scanner,
        "places": _places(compared),
        "coverage": compared.seen.coverage,
        "remarks": compared.remarks,
    }


def _run(compared: Comparison) -> dict[str, Any]:
    run = compared.part.run
    return {
        "folder": str(run.path),
        "title": run.title,
        "case_hash": run.provenance["case_hash"],
        "sha256 of summary.json": digests_of(run.path, [RUN_SUMMARY])[RUN_SUMMARY],
        "state": compared.part.state,
        "shares of states": {str(state): share for state, share in compared.part.choice.shares.items()},
        "chosen as": compared.part.choice.text,
        "given loads": dict(compared.settings.loads),
        "fitted": compared.settings.state == "best",
        "surface": compared.settings.surface,
    }


def _scan(compared: Comparison) -> dict[str, Any]:
    return {
        "file": str(compared.scan),
        "sha256": compared.digest,
        "unit": compared.settings.unit,
        "points": len(compared.cloud.points),
        "spacing_mm": compared.cleaned.spacing_mm,
        "invented": compared.invented,
    }


def _alignment(compared: Comparison) -> dict[str, Any]:
    found = compared.alignment
    angle, axis = found.pose.turn
    return {
        "datum": compared.settings.alignment.datum,
        "rotation": found.pose.rotation,
        "translation_mm": found.pose.translation,
        "scale": found.pose.scale,
        "turn_deg": angle,
        "axis": axis,
        "covariance": found.covariance,
        "covariance of": "rotation vector (rad) and shift (mm) about the centre",
        "centre_mm": found.centre,
        "residual_rms_mm": found.residual_rms,
        "inlier_share": found.inlier_share,
        "residuals at named points_mm": found.residuals,
        "free": [motion._asdict() for motion in found.free],
        "alternatives": [
            {"rotation": pose.rotation, "translation_mm": pose.translation, "scale": pose.scale}
            for pose in found.alternatives
        ],
    }


def _points(compared: Comparison) -> dict[str, Any]:
    found = compared.found
    return {
        "after cleaning": len(compared.cleaned.cloud.points),
        "beyond open edges": found.beyond_edges,
        "farther than the reach": found.too_far,
        "reach_mm": compared.part.reach,
        "turned away": found.turned_away,
        "outliers apart from their neighbours": compared.sound.apart,
        "outliers without neighbours": compared.sound.lonely,
        "outliers in a second layer": compared.sound.layered,
        "counted": len(compared.kept.value),
        "noise_mm": compared.sound.noise,
    }


def _places(compared: Comparison) -> dict[str, Any]:
    """Where the largest deviations are, mm."""
    covered = compared.seen.covered
    sources = {"": (compared.kept.value, compared.kept.foot)}
    if covered.any():
        sources["local "] = (compared.seen.value[covered], compared.seen.place[covered])
    places = {}
    for word, source in sources.items():
        found = statistics(*source)
        places[f"largest {word}deviation outward"] = found.largest.place
        places[f"largest {word}deviation inward"] = found.smallest.place
    return places
