# SPDX-License-Identifier: MIT
"""Small cases of the checks: their tables, and the states of their paths."""

from collections.abc import Mapping
from typing import Any

from annelid.cases.convert.body import meshed_part_of
from annelid.cases.convert.model import model_of
from annelid.cases.convert.path import stages_of, stepping_of
from annelid.cases.validate.reading import case_from_tables
from annelid.solver.records import Equilibrium, Outcome

__all__ = ["MU", "PERMITTIVITY", "case_tables", "states_of", "tube_tables", "value_of"]

MU, PERMITTIVITY = 0.2, 2.8  # MPa; relative
_NO_SEARCH: Mapping[str, Any] = {"seek_limit": 1, "harmonics": "none"}
_HELD = [{"region": "end_low", "hold": "axial"}, {"region": "end_high", "hold": "axial"}]
_RUBBER = {"law": "neo-hookean", "shear_modulus": f"{MU} MPa", "permittivity": PERMITTIVITY}


def tube_tables(
    *, thickness: str, length: str = "10 mm", inner_radius: str = "10 mm", **tables: Any
) -> dict[str, Any]:
    """A tube that slides between plates."""
    shape = {
        "kind": "tube",
        "inner_radius": inner_radius,
        "length": length,
        "layers": [{"name": "wall", "thickness": thickness}],
    }
    return case_tables(shape, **{"mesh": {"along": "5 mm", "through": 2}, "supports": _HELD, **tables})


def case_tables(shape: dict[str, Any], *, path: Mapping[str, Any] = {}, **tables: Any) -> dict[str, Any]:
    """Tables of a case of one rubber, without searches beyond its path."""
    return {
        "title": "A check",
        "shape": shape,
        "materials": {"rubber": _RUBBER},
        "parts": [{"region": "wall", "material": "rubber"}],
        "path": {**_NO_SEARCH, **path},
        **tables,
    }


def states_of(tables: dict[str, Any]) -> tuple[Outcome, list[Equilibrium]]:
    """The outcome and all states of the path of a case."""
    from annelid.solver.continuation.path import Path

    case = case_from_tables(tables)
    states: list[Equilibrium] = []
    model = model_of(case, *meshed_part_of(case))
    outcome = Path(model, stages_of(case), stepping=stepping_of(case)).follow(observe=states.append)
    return outcome, states


def value_of(state: Equilibrium, quantity: str) -> float:
    """Value of a quantity of a state."""
    return state.quantities[quantity].value
