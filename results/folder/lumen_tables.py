# SPDX-License-Identifier: MIT
"""Tables over the height of a part: profiles of its surfaces, and the flow along its lumen."""

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from annelid.geometry.errors import InputError
from annelid.results.folder.tables import complete_rows
from annelid.solver.records import FlowAlong, Profile

PROFILE_COLUMNS = (
    "state",
    "surface",
    "reference height [mm]",
    "reference radius [mm]",
    "height [mm]",
    "radius [mm]",
)
FLOW_COLUMNS = (
    "state",
    "section",
    "height [mm]",
    "length [mm]",
    "radius [mm]",
    "pressure [MPa]",
    "flow [mm3/s]",
    "cylinder radius [mm]",
    "largest speed [mm/s]",
)


def read_profiles(path: Path, state: int) -> dict[str, Profile]:
    """Read the radial profiles of one state from ``profiles.csv``, by surface.

    Raises:
        InputError: The file cannot be read, or has other columns.
        ValueError: A row is damaged.
    """
    rows = [row for row in _profile_rows(path) if row[0] == str(state)]
    return {surface: _profile(rows, surface) for surface in dict.fromkeys(row[1] for row in rows)}


def read_lumen_history(path: Path) -> tuple[str, dict[int, Profile]]:
    """Read the profiles of the innermost surface in all states; errors as for ``read_profiles``.

    Returns:
        Name of the surface, "" if there is none, and its profile by number of the state.
    """
    by_state: dict[int, list[list[str]]] = {}
    rows = _profile_rows(path)
    surface = next((s for s in ("lumen", "inner", "outer") if any(row[1] == s for row in rows)), "")
    for row in rows:
        by_state.setdefault(int(row[0]), []).append(row)
    return surface, {state: _profile(members, surface) for state, members in by_state.items() if surface}


def read_flow_history(path: Path) -> dict[int, FlowAlong]:
    """Read the flow along the lumen from ``flow.csv``, by number of the state; empty without a file.

    Raises:
        InputError: The file cannot be read, or has other columns.
        ValueError: A row is damaged.
    """
    by_state: dict[int, list[list[float]]] = {}
    for row in _table_rows(path, FLOW_COLUMNS):
        by_state.setdefault(int(row[0]), []).append([float(x) for x in row[2:]])
    return {state: FlowAlong(*np.array(rows).T) for state, rows in by_state.items()}


def _profile_rows(path: Path) -> list[list[str]]:
    return _table_rows(path, PROFILE_COLUMNS)


def _table_rows(path: Path, columns: Sequence[str]) -> list[list[str]]:
    if not os.path.lexists(path):
        return []
    header, *body = complete_rows(path) or [[]]
    if tuple(header) != tuple(columns):
        raise InputError(f"{path}: cannot be read (its first line has other names)", path=str(path))
    return body


def _profile(rows: list[list[str]], surface: str) -> Profile:
    values = np.array([[float(x) for x in row[2:]] for row in rows if row[1] == surface]).T
    return Profile(height=values[0], reference_radius=values[1], current_height=values[2], radius=values[3])
