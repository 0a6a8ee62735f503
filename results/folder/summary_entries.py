# SPDX-License-Identifier: MIT
"""Entries of ``summary.json``: the last state, the whole path, and the definitions of quantities."""

from collections.abc import Iterable, Mapping
from typing import Any

from annelid.results.folder.bistability import bistability_of
from annelid.results.folder.energies import energies_of
from annelid.results.folder.tables import PathRecord, quantity_header
from annelid.solver.model import quantities as q
from annelid.solver.records import Equilibrium, Measure


def final_state(state: Equilibrium) -> dict[str, Any]:
    """Return the numbers of the last state, with units in the names."""
    return {
        "state": state.index,
        "stage": state.stage,
        "parameter [1]": state.parameter,
        quantity_header(q.UNSTABLE_MODES): state.unstable_modes,
        quantity_header(q.UNSTABLE_MODES_CONTROLLED): state.unstable_modes_controlled,
        "loads": {f"{name} [{m.unit}]": m.value for name, m in state.loads.items()},
        "quantities": {f"{name} [{m.unit}]": m.value for name, m in state.quantities.items()},
        "places [mm]": {name: list(place) for name, place in state.places.items()},
    }


def path_entries(table: PathRecord | None, quantities: Mapping[str, Measure]) -> dict[str, Any]:
    """Return what follows from the whole path: energies, bistability and quantities; empty without states."""
    if table is None:
        return {}
    energies, bistability = energies_of(table), bistability_of(table)
    return {
        **({} if energies is None else {"energies": energies.to_mapping()}),
        **({} if bistability is None else {"bistability": bistability.to_mapping(table)}),
        "path_quantities": {f"{name} [{m.unit}]": m.value for name, m in quantities.items()},
    }


def definitions(names: Iterable[str]) -> dict[str, dict[str, str]]:
    """Return unit, formula and meaning of quantities by name."""
    quantities = {name: q.quantity_of(name) for name in names}
    return {
        name: {"unit": quantity.unit, "formula": quantity.formula, "meaning": quantity.meaning}
        for name, quantity in quantities.items()
    }
