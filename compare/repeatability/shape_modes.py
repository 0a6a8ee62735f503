# SPDX-License-Identifier: MIT
"""Modes of the shapes of parts or scans."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from annelid.compare.alignment.surface import BoolArray
from annelid.compare.comparison.simulated_part import SimulatedPart
from annelid.compare.repeatability.listing import ScanDesign
from annelid.compare.repeatability.mode_names import mode_shares
from annelid.compare.repeatability.modes import Modes
from annelid.compare.repeatability.outlying_parts import OutlyingParts, outlying_parts
from annelid.compare.repeatability.places import Places, rings
from annelid.compare.repeatability.point_spread import part_means
from annelid.compare.repeatability.real_modes import ModeTest, real_modes
from annelid.compare.repeatability.scan_fields import ScanField
from annelid.geometry.body import FloatArray, IntArray

_FEWEST_ROWS = 4  # fields with modes
_PARTS_FOR_MODES = 4  # from so many parts on, modes are those of the means of parts
_PATCHES = 100  # of the surface at most
_APART = 6.0  # radii of the spots of a scan: smallest side of a patch, so that noise is its own in each patch
_FEWEST_SCANS = 6  # that saw a place of a mode, or all of them if there are fewer
_LEAST_AREA = 0.1  # share of the surface with modes


class ShapeModes(NamedTuple):
    """Modes of the shapes of parts (or of scans, if there are few parts).

    Attributes:
        rows: Names of the parts, or numbers of the scans in the list.
        of_parts: Whether the rows are parts.
        modes: The modes that are larger than chance, over all places; ``nan`` where they are not known.
        tests: The test of each mode, up to the first that is not.
        shares: What each mode looks like, see ``mode_shares``.
        area: Share of the surface where the modes are known.
        outlying: Tests for outliers.
    """

    rows: tuple[str, ...]
    of_parts: bool
    modes: Modes
    tests: tuple[ModeTest, ...]
    shares: tuple[Mapping[str, float], ...]
    area: float
    outlying: OutlyingParts


def shape_modes(
    fields: FloatArray, design: ScanDesign, places: Places, patches: IntArray
) -> ShapeModes | str:
    """Return the modes of fields, shape (n, m), mm, or say why there are none.

    Args:
        fields: Deviations of the scans at the places.
        design: Who scanned what.
        places: The places.
        patches: Number of the patch of each place, see ``patches_of``.
    """
    of_parts = len(design.parts) >= _PARTS_FOR_MODES
    rows, names = (
        (part_means(fields, design), design.parts)
        if of_parts
        else (fields, tuple(map(str, range(1, len(fields) + 1))))
    )
    n, seen = len(rows), np.isfinite(rows)
    if n < _FEWEST_ROWS:
        return f"Modes of variation need at least {_FEWEST_ROWS} scans."
    used = seen.sum(axis=0) >= max(-(-n // 2), min(n, _FEWEST_SCANS))
    area = float(places.weight[used].sum())
    if area < _LEAST_AREA:
        share = f"{100 * area:.1f} %"
        return f"Modes of variation were not sought: enough scans saw only {share} of the surface."
    patch = np.unique(patches[used], return_inverse=True)[1]
    weight = places.weight[used]
    if not np.nanmax(np.nanstd(rows[:, used], axis=0)) > 1e-12 * float(np.ptp(places.points, axis=0).max()):
        return "All scans are the same, so there is no variation of shape."
    modes, tests = real_modes(rows[:, used], weight, patch)
    counts = np.array([np.isfinite(fields[design.part == i]).sum(axis=0) for i in range(len(design.parts))])
    known = (counts if of_parts else seen.astype(float))[:, used]
    outliers = outlying_parts(names, modes, known, weight)
    whole = _everywhere(modes, used)
    shares = tuple(mode_shares(shape, places) for shape in whole.shapes)
    return ShapeModes(names, of_parts, whole, tuple(tests), shares, area, outliers)


def patches_of(scans: Sequence[ScanField], places: Places, part: SimulatedPart, ringed: bool) -> IntArray:
    """Number of the patch of each place: rings about the axis if fields are means around it."""
    area = float(part.surface.areas.sum())
    side = max(_APART * max(scan.spot for scan in scans), float(np.sqrt(area / _PATCHES)))
    if ringed:
        return rings(places.points, side)
    return part.surface.patches(places.points, max(1, round(area / side**2)))


def _everywhere(modes: Modes, used: BoolArray) -> Modes:
    """Modes over all places, ``nan`` where they are not known; the filled fields are dropped."""
    mean, shapes = np.full(len(used), np.nan), np.full((len(modes.shapes), len(used)), np.nan)
    mean[used], shapes[:, used] = modes.mean, modes.shapes
    return modes._replace(mean=mean, shapes=shapes, filled=np.zeros((0, 0)))
