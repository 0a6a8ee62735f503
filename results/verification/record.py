# SPDX-License-Identifier: MIT
"""The record of a verification: the error bar of each quantity, and verdicts that take it into account."""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from annelid.geometry.errors import InputError
from annelid.results.folder.digests import read_sealed, write_sealed

__all__ = [
    "ROUNDING",
    "TOO_CLOSE",
    "VERIFICATION",
    "BarredVerdict",
    "QuantityBar",
    "Verification",
    "read_verification",
]

VERIFICATION = "verification.json"
TOO_CLOSE = "too close to call"
ROUNDING = "exact to rounding"
"""Pattern of values that refinement does not change."""
_KIND, _FORMAT = "annelid verification", 1


@dataclass(frozen=True)
class QuantityBar:
    """The error bar of a quantity of a run; all numbers in ``unit``, ``nan`` where there is none.

    Attributes:
        quantity: Name.
        where: State at which it is reported, as text.
        unit: Internal unit.
        value: Value of the run of the case.
        half_width: Half of the width of the bar around it: mesh, steps, tolerance and quadrature together.
        best: Value on the finest mesh, or the extrapolated one where its order is seen twice.
        best_half_width: Half of the width of the bar around the best value.
        pattern: How the values change with the mesh, in words.
        order: Observed order.
        index: Grid convergence index of the finest mesh.
        mesh: Share of the mesh in the half width.
        steps: Share of the step size.
        tolerance: Change with the tighter tolerance.
        quadrature: Change with the higher degree of quadrature.
        sizes: Element sizes relative to that of the case, from the numbers of cells, from coarse to fine.
        values: Values on these meshes.
        note: What limits the bar, as a sentence.
    """

    quantity: str
    where: str
    unit: str
    value: float
    half_width: float = math.nan
    best: float = math.nan
    best_half_width: float = math.nan
    pattern: str = ""
    order: float = math.nan
    index: float = math.nan
    mesh: float = math.nan
    steps: float = math.nan
    tolerance: float = math.nan
    quadrature: float = math.nan
    sizes: tuple[float, ...] = ()
    values: tuple[float, ...] = ()
    note: str = ""

    @property
    def has_bar(self) -> bool:
        """Whether there is a bar."""
        return math.isfinite(self.half_width)


@dataclass(frozen=True)
class BarredVerdict:
    """A requirement, its value with the bar, and ``"met"``, ``"not met"`` or ``"too close to call"``.

    Without a bar the answer is that of the run.
    """

    quantity: str
    where: str
    condition: str
    limit: float
    value: float
    half_width: float
    answer: str


@dataclass(frozen=True)
class Verification:
    """The result of a verification.

    Attributes:
        title: Title of the case.
        case_hash: Hash of the resolved case, as of a run of it.
        version: Version of the program.
        runs: Name, state, cells, unknowns, time and so on of each run.
        bars: Error bars in the order of the summary.
        verdicts: Requirements of the case.
        remarks: What the verification does not show.
    """

    title: str
    case_hash: str
    version: str
    runs: tuple[Mapping[str, Any], ...] = ()
    bars: tuple[QuantityBar, ...] = ()
    verdicts: tuple[BarredVerdict, ...] = ()
    remarks: tuple[str, ...] = ()

    def bar(self, quantity: str, where: str) -> QuantityBar | None:
        """Return the bar of a quantity at a place; ``None`` if it is not reported there."""
        return next((b for b in self.bars if (b.quantity, b.where) == (quantity, where)), None)

    def write(self, folder: Path) -> Path:
        """Write ``verification.json``."""
        return write_sealed(folder / VERIFICATION, {"kind": _KIND, "format": _FORMAT, **asdict(self)})


def read_verification(folder: Path) -> Verification:
    """Read ``verification.json`` of a folder.

    Raises:
        InputError: It is missing, damaged or of another version.
    """
    data = read_sealed(folder / VERIFICATION)
    if (data.get("kind"), data.get("format")) != (_KIND, _FORMAT):
        raise InputError(f"{folder / VERIFICATION}: is no verification, or one of another version")
    plain = {key: data[key] for key in ("title", "case_hash", "version")}
    return Verification(
        **plain,
        runs=tuple(data["runs"]),
        bars=tuple(QuantityBar(**_numbers(bar)) for bar in data["bars"]),
        verdicts=tuple(BarredVerdict(**_numbers(verdict)) for verdict in data["verdicts"]),
        remarks=tuple(data["remarks"]),
    )


def _numbers(entry: Mapping[str, Any]) -> dict[str, Any]:
    """Turn the texts by which JSON replaces NaN and infinity into numbers."""
    words = ("quantity", "where", "unit", "pattern", "note", "condition", "answer")
    lists = ("sizes", "values")
    return {
        key: value if key in words else tuple(map(float, value)) if key in lists else float(value)
        for key, value in entry.items()
    }
