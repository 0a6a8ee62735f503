# SPDX-License-Identifier: MIT
"""Tables of the fabrication sheet as CSV files."""

import csv
import io
from collections.abc import Iterable, Sequence

from annelid.geometry.fabrication.mould import Mould
from annelid.geometry.fabrication.plan import CastSheet, FabricationPlan
from annelid.geometry.fabrication.settings import FabricationSettings

__all__ = ["blank_size", "layers_csv", "profile_csv"]

_LAYERS = (
    "order",
    "layer",
    "sheet",
    "of",
    "material",
    "thickness as cast [mm]",
    "thickness mounted [mm]",
    "pre-stretch around [1]",
    "pre-stretch along [1]",
    "passes [1]",
    "last pass [mm]",
    "inner diameter as cast [mm]",
    "circumference as cast [mm]",
    "length as cast [mm]",
    "blank around [mm]",
    "blank along [mm]",
    "rubber [mm3]",
)


def layers_csv(plan: FabricationPlan) -> str:
    """Return one row for each sheet, from the inside to the outside; unknown values stay empty."""
    return _csv(_LAYERS, (_row(n, sheet, plan.settings) for n, sheet in enumerate(plan.sheets, start=1)))


def profile_csv(mould: Mould) -> str:
    """Return the side of a mould, from its low to its high end."""
    rows = ([f"{2 * radius:.5f}", f"{height:.5f}"] for radius, height in mould.side.tolist())
    return _csv(("diameter [mm]", "height [mm]"), rows)


def blank_size(sheet: CastSheet, settings: FabricationSettings) -> tuple[float, float] | None:
    """Return the sizes around and along of the blank of a sheet, mm; ``None`` if its size is not known.

    Of a curved sheet they are the largest circumference and the length of the meridian.
    """
    if sheet.around is None or sheet.along is None:
        return None
    margin = 2 * (settings.allowance or 0.0)
    return sheet.around + (settings.seam_overlap or 0.0) + margin, sheet.along + margin


def _row(number: int, sheet: CastSheet, settings: FabricationSettings) -> list[object]:
    passes = settings.passes(sheet.thickness) or (None, None)
    blank = blank_size(sheet, settings) or (None, None)
    head = [number, sheet.layer, sheet.number, sheet.count, sheet.material]
    stretches = [1 / sheet.hoop, 1 / sheet.axial]
    sizes = [sheet.diameter, sheet.around, sheet.along, *blank, sheet.volume]
    numbers = [sheet.thickness, sheet.mounted_thickness, *stretches, *passes, *sizes]
    return [*head, *("" if value is None else f"{value:.6g}" for value in numbers)]


def _csv(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return buffer.getvalue()
