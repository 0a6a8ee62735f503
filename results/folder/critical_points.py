# SPDX-License-Identifier: MIT
"""Critical points of a path, and the ratios of their loads to other loads."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from annelid.results.folder.tables import PathRecord
from annelid.solver.model import quantities as q
from annelid.solver.records import Equilibrium, Measure

MAIN_QUANTITIES = (
    q.LUMEN_VOLUME.name,
    q.MEAN_RADIAL_EXPANSION.name,
    q.AXIAL_SHORTENING.name,
    q.LARGEST_STRETCH.name,
    q.LARGEST_TRUE_FIELD.name,
    q.BREAKDOWN_MARGIN.name,
    q.TEARING_MARGIN.name,
    q.CHARGE.name,
    q.MINIMUM_WALL_THICKNESS.name,
    q.COMPRESSED_WALL.name,
)


@dataclass(frozen=True)
class CriticalPoint:
    """A state at which the load reaches an extreme or another path branches off.

    Attributes:
        kind: ``"limit point"``, ``"bifurcation"``, or what the part does with waves around its axis.
        stage: Name of the stage.
        state: Number of the state.
        loads: Loads in this state.
        quantities: Main quantities in this state.
    """

    kind: str
    stage: str
    state: int
    loads: Mapping[str, Measure]
    quantities: Mapping[str, Measure]

    @classmethod
    def of_state(cls, state: Equilibrium) -> "CriticalPoint":
        """Create the record of a critical equilibrium."""
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
class LoadRatios:
    """Ratios of a critical load to other loads, ``nan`` where a ratio has no meaning.

    Attributes:
        load: Name of the load that changes in the stage of the critical point.
        over_last: Critical load divided by the load in the last state.
        over_target: Critical load divided by the target of the stage.
        passed: Whether the path continues after the critical point.
    """

    load: str
    over_last: float
    over_target: float
    passed: bool


def critical_points(table: PathRecord) -> tuple[CriticalPoint, ...]:
    """Return the critical points of a path in path order."""
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


def load_ratios(
    table: PathRecord, point: CriticalPoint, load: str, targets: Mapping[str, Mapping[str, float]]
) -> LoadRatios:
    """Compare a critical load with the last state and with the target of its stage.

    Args:
        table: The path.
        point: One of its critical points.
        load: Name of the load that changes in its stage.
        targets: Target loads of each stage.
    """
    critical = point.loads[load].value
    last = float(table[load][-1])
    # The ratio to the last state has a meaning only if the other loads are equal in both states.
    others_equal = all(
        np.isclose(measure.value, table[name][-1], rtol=1e-6, atol=1e-12)
        for name, measure in point.loads.items()
        if name != load and np.isfinite(table[name][-1])
    )
    return LoadRatios(
        load=load,
        over_last=_ratio(critical, last) if others_equal else np.nan,
        over_target=_ratio(critical, targets.get(point.stage, {}).get(load, np.nan)),
        passed=point.state < table["state"][-1],
    )


def _measures(table: PathRecord, names: Any, row: int) -> dict[str, Measure]:
    values = {name: float(table[name][row]) for name in names}
    return {name: Measure(value, table.units[name]) for name, value in values.items() if not np.isnan(value)}


def _ratio(critical: float, working: float) -> float:
    return critical / working if np.isfinite(working) and critical * working > 0 else float("nan")
