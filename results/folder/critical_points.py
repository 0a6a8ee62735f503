# SPDX-License-Identifier: MIT
"""The critical points of a path, and how far the working point is from each."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from annelid.results.display_units import inside_value
from annelid.results.folder.tables import PathTable
from annelid.solver.records import Equilibrium, Measure

MAIN_QUANTITIES = (
    "lumen volume",
    "mean radial expansion",
    "axial shortening",
    "largest stretch",
    "largest true field",
    "breakdown margin",
    "charge",
    "minimum wall thickness",
    "slack share",
)
# Keys of the stages of a case, by the first words of the load's name.
_CASE_KEYS = {"pressure": "pressure", "voltage": "voltage", "axial force": "force", "displacement": "move"}


@dataclass(frozen=True)
class CriticalPoint:
    """A state at which the path turns or another path leaves it.

    Attributes:
        kind: ``"limit point"`` or ``"bifurcation"``.
        stage: Name of the stage.
        state: Number of the state.
        loads: The loads there.
        quantities: The main quantities there.
    """

    kind: str
    stage: str
    state: int
    loads: Mapping[str, Measure]
    quantities: Mapping[str, Measure]

    @classmethod
    def of_state(cls, state: Equilibrium) -> "CriticalPoint":
        """Make the point of a critical equilibrium."""
        main = {name: state.quantities[name] for name in MAIN_QUANTITIES if name in state.quantities}
        return cls(state.critical, state.stage, state.index, dict(state.loads), main)

    def to_mapping(self) -> dict[str, Any]:
        """Return the entry of ``summary.json``."""
        return {
            "kind": self.kind,
            "stage": self.stage,
            "state": self.state,
            "loads": {f"{name} [{m.unit}]": m.value for name, m in self.loads.items()},
            "quantities": {f"{name} [{m.unit}]": m.value for name, m in self.quantities.items()},
        }


@dataclass(frozen=True)
class Margin:
    """A critical load beside the working point: ratios of the critical load, ``nan`` where meaningless.

    Attributes:
        load: Name of the load that turns there.
        over_last: Critical load over the load of the last state.
        over_asked: Critical load over the load that the case asks for in that stage.
        passed: Whether the path has gone beyond the point.
    """

    load: str
    over_last: float
    over_asked: float
    passed: bool


def critical_points(table: PathTable) -> tuple[CriticalPoint, ...]:
    """Return the critical points of a path, in its order."""
    return tuple(
        CriticalPoint(
            kind=table.critical[row],
            stage=table.stages[row],
            state=int(table["state"][row]),
            loads=_measures(table, table.loads, int(row)),
            quantities=_measures(table, [n for n in MAIN_QUANTITIES if n in table.quantities], int(row)),
        )
        for row in np.flatnonzero(table.is_critical)
    )


def margin(table: PathTable, point: CriticalPoint, load: str, case: Mapping[str, Any]) -> Margin:
    """Compare a critical load with the working point.

    Args:
        table: The path.
        point: One of its critical points.
        load: Name of the load that moves there.
        case: The resolved case, for the load asked for.
    """
    critical = point.loads[load].value
    last = float(table[load][-1])
    # The last state answers for the margin only while the other loads stand as they do at the point.
    same = all(
        np.isclose(measure.value, table[name][-1], rtol=1e-6, atol=1e-12)
        for name, measure in point.loads.items()
        if name != load and np.isfinite(table[name][-1])
    )
    row = int(np.flatnonzero(table["state"] == point.state)[0])
    return Margin(
        load=load,
        over_last=_ratio(critical, last) if same else np.nan,
        over_asked=_ratio(critical, asked_load(case, point.stage, load)),
        passed=row < len(table) - 1,
    )


def asked_load(case: Mapping[str, Any], stage: str, load: str) -> float:
    """Return the load that a stage of a resolved case asks for, in the units inside; ``nan`` for none."""
    stages = case.get("stages")
    named = [s for s in stages if isinstance(s, Mapping)] if isinstance(stages, list) else []
    for entry in named:
        if entry.get("name") == stage:
            for words, key in _CASE_KEYS.items():
                if load.startswith(words):
                    asked = entry.get(key)
                    if isinstance(asked, Mapping):
                        asked = asked.get(load.removeprefix(words).strip())
                    return inside_value(asked)
    return float("nan")


def _measures(table: PathTable, names: Any, row: int) -> dict[str, Measure]:
    values = {name: float(table[name][row]) for name in names}
    return {name: Measure(value, table.units[name]) for name, value in values.items() if not np.isnan(value)}


def _ratio(critical: float, working: float) -> float:
    return critical / working if np.isfinite(working) and critical * working > 0 else float("nan")
