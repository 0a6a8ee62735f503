# SPDX-License-Identifier: MIT
"""Numbers and sentences of the page about a comparison."""

import math
from collections.abc import Iterator

import numpy as np

from annelid.compare.comparison.compared import Comparison
from annelid.compare.comparison.limits import RULE, Judgement
from annelid.compare.deviation.quantity_names import unit_of
from annelid.solver.display import KINDS, DisplayUnit, DisplayUnits, capitalised, digits

INVENTED = "computed from a simulation; no part was measured"
CAUTIONS = (
    "A deviation says where the measured and the simulated part differ, not which of them is wrong. It also "
    "contains errors of the scanner that all scans share, such as light that enters translucent rubber "
    "before it returns.",
    "The comparison holds for the stated state only. Compare a scan with the state whose pressure and "
    "voltage acted on the part while it was scanned.",
    "A scanner and its cables near a charged part are within reach of its voltage; keep them apart, or "
    "discharge the part first.",
)
_SPACE, _MINUS = "\N{NO-BREAK SPACE}", "\N{MINUS SIGN}"
_LARGE = 0.05  # of the diameter
_FEW, _OUTSIDE = 0.8, 0.8  # coverage and share of inliers below which the page warns


def with_error(value: float, deviation: float, unit: DisplayUnit) -> str:
    """A value with its standard deviation to two digits: ``"0.123 ± 0.011 mm"``; both in internal units."""
    number, error = value * unit.factor, deviation * unit.factor
    if not math.isfinite(number) or not math.isfinite(error) or error <= 0.0:
        return unit.behind(digits(number, 3)) if math.isfinite(number) else "not known"
    decimals = max(0, 1 - math.floor(math.log10(error)))
    return unit.behind(f"{number:.{decimals}f}{_SPACE}±{_SPACE}{error:.{decimals}f}".replace("-", _MINUS))


def measure_text(compared: Comparison, name: str, *, alone: bool = False) -> str:
    """A measure with its standard deviation, or alone."""
    found = compared.measures[name]
    if alone:
        unit = _unit(compared, name)
        return unit.behind(digits(unit.factor * found.value, 3))
    return with_error(found.value, found.standard_deviation, _unit(compared, name))


def measure_rows(compared: Comparison) -> list[tuple[str, ...]]:
    """Rows of the table of measures: name, value, range, and the parts of the uncertainty."""
    rows = []
    for name, found in compared.measures.items():
        unit = _unit(compared, name)
        low, high, pose, patches = (
            digits(unit.factor * x, n)
            for x, n in ((found.low, 3), (found.high, 3), (found.from_pose, 2), (found.from_patches, 2))
        )
        more = (f"{low} to {unit.behind(high)}", unit.behind(pose), unit.behind(patches))
        rows.append((name, measure_text(compared, name), *(more if math.isfinite(found.value) else [""] * 3)))
    return rows


def _unit(compared: Comparison, name: str) -> DisplayUnit:
    found = compared.measures[name]
    return shown_in(compared.part.run.units, unit_of(name), abs(found.value) + found.standard_deviation)


def shown_in(units: DisplayUnits, unit: str, size: float) -> DisplayUnit:
    """The unit in which values of such a size are shown."""
    if unit == "mm":
        return units.unit("length", size)
    # Units of the run suit volumes, not their difference.
    return KINDS["fraction" if unit == "1" else "volume"].default(size)


def verdict_row(units: DisplayUnits, verdict: Judgement) -> tuple[str, str, str, str, str]:
    """Cells of a verdict: quantity, limit, value with expanded uncertainty, verdict, and its tone."""
    unit = shown_in(units, verdict.unit, abs(verdict.limit))
    limit = unit.behind(digits(unit.factor * verdict.limit, 4))
    value = with_error(verdict.value, verdict.expanded_uncertainty, unit)
    tone = {"met": "success", "not met": "failure", "undecided": "warning"}[verdict.verdict]
    return verdict.quantity, f"{verdict.condition} {limit}", value, verdict.verdict, tone


def rule(compared: Comparison) -> str:
    """Say how it is judged, and what the uncertainty contains."""
    shared = compared.settings.scanner
    error = (
        f"an error of {_length(compared, shared, 2)} (standard uncertainty) that all points share"
        if shared
        else "no error that all points share, because scanner_uncertainty is not given"
    )
    return f"{RULE} The uncertainty contains the noise, the pose, what holes hide, and {error}."


def answer(compared: Comparison) -> str:
    """Say whether the part meets the requirements."""
    found = [verdict.verdict for verdict in compared.verdicts]
    if not found:
        return "no requirement"
    if "not met" in found:
        return "does not meet its requirements"
    return "not all requirements can be decided" if "undecided" in found else "meets its requirements"


def missed(compared: Comparison) -> Iterator[str]:
    """Say which requirements are not met."""
    for verdict in compared.verdicts:
        if verdict.verdict == "not met":
            quantity, condition, value, _, _ = verdict_row(compared.part.run.units, verdict)
            yield f"{capitalised(quantity)} is {value}; required is {condition}."


def _length(compared: Comparison, value: float, count: int = 3) -> str:
    return compared.part.run.units.show("length", value, count)


def headline(compared: Comparison) -> str:
    """Say in one sentence how far the scan is from the simulated surface."""
    low, high = (compared.measures[f"{share} % of deviations below"].value for share in (5, 95))
    return (
        f"{compared.scan.name} deviates from the {compared.part.surface.name} by "
        f"{measure_text(compared, 'root mean square deviation')} (root mean square); the mean is "
        f"{measure_text(compared, 'mean deviation')}, and 90 % of the points are between "
        f"{_length(compared, low)} and {_length(compared, high)}."
    )


def doubts(compared: Comparison) -> Iterator[str]:
    """Say what to know before the numbers are used."""
    if compared.invented:
        yield f"The scan is invented, {INVENTED}."
    yield from compared.part.choice.doubts
    if compared.alignment.pose.scale != 1.0:
        yield (
            f"A scale was fitted: the scan was multiplied by {compared.alignment.pose.scale:.5g}, so all "
            "sizes and volumes are those of the changed scan."
        )
    for verdict in compared.verdicts:
        if verdict.verdict == "undecided":
            reason = "is too close to its limit" if math.isfinite(verdict.value) else "was not measured"
            yield f"{capitalised(verdict.quantity)} {reason}."
    if compared.seen.coverage < _FEW:
        yield f"The scan covers only {100 * compared.seen.coverage:.0f} % of the surface."
    if compared.alignment.inlier_share < _OUTSIDE:
        share = f"{100 * compared.alignment.inlier_share:.0f} %"
        yield f"Only {share} of the points follow the shape of the surface; the pose may be wrong."
    rms = compared.measures["root mean square deviation"].value
    if rms > _LARGE * compared.part.surface.diameter:
        share = f"{100 * rms / compared.part.surface.diameter:.0f} % of the diameter (root mean square)"
        yield f"The deviations are {share}; the scan may show another part or another state."
    free = [motion.kind for motion in compared.alignment.free if not motion.fixed_by]
    if free.count("turn") == 1:
        yield "The surface looks alike from all sides, so the angle of the scan about its axis is arbitrary."
    elif "turn" in free:
        yield "The surface looks alike from all directions, so the scan may be turned in any way."
    if "slide" in free:
        yield "The position of the scan along its axis is arbitrary, because the surface does not fix it."
    if compared.alignment.alternatives:
        yield "The scan fits as well in another pose, for example turned end for end; see “Pose and datum”."


def pose_sentences(compared: Comparison) -> Iterator[str]:
    """Describe datum and pose, and how certain the pose is."""
    yield from compared.remarks
    pose = compared.alignment.pose
    angle, axis = pose.turn
    x, y, z = (digits(value, 4) for value in pose.translation)
    direction = ", ".join(f"{value:.3f}" for value in axis).replace("-", _MINUS)
    yield (
        f"The scan was turned by {digits(angle, 4)}° about the direction ({direction}) through its origin, "
        f"then shifted by ({x}, {y}, {z}) mm."
    )
    spread = np.sqrt(np.maximum(np.diag(compared.alignment.covariance), 0.0))
    turns = ", ".join(f"{digits(value, 2)}°" for value in np.degrees(spread[:3]))
    shifts = ", ".join(_length(compared, float(value), 2) for value in spread[3:])
    yield (
        f"Standard deviations about X, Y and Z: {turns}; along them: {shifts}. Motions that the surface does "
        "not fix have no part in them."
    )
    left = ", ".join(
        f"{name} {_length(compared, value)}" for name, value in compared.alignment.residuals.items()
    )
    if left:
        yield f"Distances left at the named points: {left}."
    share = digits(100 * compared.alignment.inlier_share, 3)
    residual = _length(compared, compared.alignment.residual_rms)
    yield f"{share} % of the points are inliers, {residual} (root mean square) from the surface."


def removal_rows(compared: Comparison) -> list[tuple[str, ...]]:
    """Rows of the table of removed points: step, points before and after it, and why."""
    rows = [(step.name, step.points_in, step.points_out, step.why) for step in compared.cleaned.steps]
    found, sound = compared.found, compared.sound
    before, reach = len(compared.cleaned.cloud.points), compared.part.reach
    with_partner, counted = len(found.value), len(sound.kept.value)
    far = _length(compared, reach)
    missing = f"{found.beyond_edges} beyond open edges, {found.too_far} over {far} away"
    facing = f"{found.turned_away} with a normal of the other face of the wall"
    rows.append(("without partner", before, with_partner, f"{missing}, {facing}"))
    apart = f"{sound.apart} far from their neighbours, {sound.lonely} without neighbours, "
    apart += f"{sound.layered} in a second layer over the surface, as ghosts are"
    rows.append(("outliers on the surface", with_partner, counted, apart))
    return [(name, f"{first:,}", f"{last:,}", f"{first - last:,}", why) for name, first, last, why in rows]


def state_sentence(compared: Comparison) -> str:
    """Say what the scan is compared with."""
    part = compared.part
    return f"Compared with the {part.surface.name} in {part.choice.text}."
