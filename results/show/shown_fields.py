# SPDX-License-Identifier: MIT
"""The numbers at the points of the whole part, and their ranges over all states."""

from collections.abc import Iterable, Mapping

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import FloatArray
from annelid.results.fields.state_fields import FIELD_KINDS, FieldGrid
from annelid.results.folder.tables import PathRecord
from annelid.solver.display import DisplayUnits

DISPLACEMENT, VOLTAGE = "displacement", "electrode voltage"
MISES, THICKNESS = "von Mises stress", "wall thickness"
SHOWN_KINDS = FIELD_KINDS | {
    DISPLACEMENT: "length",
    "radial displacement": "length",
    "largest principal stretch": "ratio",
    "smallest principal stretch": "ratio",
    MISES: "stress",
    THICKNESS: "thickness",
    VOLTAGE: "voltage",
}
_NOT_SHOWN = ("reference position", "Cauchy stress", "principal stretches", "pressure", "mode", DISPLACEMENT)
_ROUNDING = 1e-9  # of the largest value in any state

type Range = tuple[float, float]
type Arrays = Mapping[str, NDArray[np.generic]]


def deformed_points(arrays: Arrays) -> FloatArray:
    """Return the present positions of the grid points, shape (n, 3), mm, from the arrays of a field file."""
    vectors = ("reference position [mm]", f"{DISPLACEMENT} [mm]")
    drawn, motion = (np.asarray(arrays[name], dtype=float) for name in vectors)
    return drawn + motion


def shown_fields(arrays: Arrays) -> dict[str, FloatArray]:
    """Return the scalars that are shown, by name without unit, from the nodal arrays of a field file."""
    bare = {name.rpartition(" [")[0] or name: np.asarray(values, float) for name, values in arrays.items()}
    drawn, present = bare["reference position"], deformed_points(arrays)
    shown = {
        DISPLACEMENT: np.linalg.norm(present - drawn, axis=1),
        "radial displacement": np.hypot(*present.T[:2]) - np.hypot(*drawn.T[:2]),
    }
    if "principal stretches" in bare:
        shown["largest principal stretch"] = bare["principal stretches"][:, 0]
        shown["smallest principal stretch"] = bare["principal stretches"][:, -1]
    if "Cauchy stress" in bare:
        shown[MISES] = _von_mises(bare["Cauchy stress"].reshape(-1, 3, 3))
    return shown | {name: values for name, values in bare.items() if name not in _NOT_SHOWN}


def _von_mises(σ: FloatArray) -> FloatArray:
    """√(3/2 s:s) with the deviator s of σ, shape (n,)."""
    s = σ - np.trace(σ, axis1=1, axis2=2)[:, None, None] / 3 * np.eye(3)
    return np.asarray(np.sqrt(1.5 * np.einsum("nij,nij->n", s, s)))


def electrode_voltage(grid: FieldGrid, table: PathRecord, row: int) -> dict[str, FloatArray]:
    """Return the voltage of the electrode at each point, ``nan`` elsewhere; nothing without electrodes."""
    names = [f"{VOLTAGE} {band}" for band in grid.body.bands]
    given = [f"voltage {band}" for band in grid.body.bands]
    columns = [found if found in table.columns else load for found, load in zip(names, given, strict=True)]
    known = np.array([table.columns[name][row] if name in table.columns else np.nan for name in columns])
    if not np.isfinite(known).any():
        return {}
    band = np.empty(len(grid.nodes), dtype=np.int64)
    band[grid.cells] = grid.band[:, None]
    return {VOLTAGE: np.append(known, np.nan)[band]}  # band -1 is none


def ranges(states: Iterable[Mapping[str, FloatArray]]) -> dict[str, Range]:
    """Return the least and the largest finite value of each field in all states."""
    found: dict[str, Range] = {}
    for fields in states:
        for name, values in fields.items():
            finite = values[np.isfinite(values)]
            if finite.size:
                low, high = found.get(name, (np.inf, -np.inf))
                found[name] = min(low, float(finite.min())), max(high, float(finite.max()))
    return found


def labelled(
    fields: Mapping[str, FloatArray], over_all: Mapping[str, Range], units: DisplayUnits
) -> dict[str, NDArray[np.float32]]:
    """Return the fields in the units that are shown, by name with unit.

    The two values after those of the points are the least and the largest in all states, so that a viewer
    uses the same colours for all of them. A field that a state lacks is ``nan`` there.
    """
    shown = {}
    absent = np.full(len(next(iter(fields.values()))), np.nan)
    for name, span in over_all.items():
        size = max(map(abs, span))
        unit = units.unit(SHOWN_KINDS.get(name, "ratio"), size)
        values = np.append(fields.get(name, absent), span)
        values = np.where(np.abs(values) < _ROUNDING * size, 0.0, values) * unit.factor
        shown[unit.label(name)] = values.astype(np.float32)
    return shown
