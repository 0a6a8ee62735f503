# SPDX-License-Identifier: MIT
"""Checks of parts: small cases whose solution is known, from the tables of the case to the quantity."""

import math
from typing import Any

from annelid.cases.selfcheck.small_cases import (
    MU,
    PERMITTIVITY,
    case_tables,
    states_of,
    tube_tables,
    value_of,
)

__all__ = [
    "film_pull_in",
    "film_stretch",
    "gent_sphere",
    "inflated_tube",
    "natural_stretch",
    "oval_tube",
    "press_fit",
    "solved_field_tube",
    "sphere_maximum",
]

_FIELD = math.sqrt(MU / (8.8541878128e-6 * PERMITTIVITY))  # √(μ/ε), kV/mm; ε0 of CODATA 2018 in N/kV²


def inflated_tube() -> float:
    """P/μ of a stretched thick tube that is opened to 1.5 times its inner radius."""
    tables = tube_tables(
        thickness="5 mm",
        sections=[{"name": "middle", "at": "5 mm"}],
        stages=[
            {"name": "stretch", "move": {"end_high": "2 mm"}, "steps": 2},
            {"name": "open", "pressure": "0.05 MPa", "opening": {"middle": "15 mm"}, "steps": 3},
        ],
    )
    return value_of(states_of(tables)[1][-1], "lumen pressure") / MU


def sphere_maximum() -> float:
    """Largest P/μ of a thick sphere that is filled."""
    return max(value_of(state, "lumen pressure") for state in states_of(_sphere("11 mL"))[1]) / MU


def gent_sphere() -> float:
    """P/μ of a thick sphere of a Gent rubber that is filled to twice its inner radius."""
    tables = _sphere(f"{2 / 3 * math.pi * 8} mL")
    tables["materials"] = {"rubber": {"law": "gent", "shear_modulus": f"{MU} MPa", "stretch_limit": 30.0}}
    return value_of(states_of(tables)[1][-1], "lumen pressure") / MU


def film_stretch() -> float:
    """Strain of a film of two sheets at a given field; a tube of radius 1000 walls is a film."""
    _, states = states_of(_film(0.655165547, sheets=2))
    return value_of(states[-1], "mean radial expansion")


def film_pull_in() -> float:
    """Nominal field at which the film ceases to be stable, over √(μ/ε)."""
    outcome, states = states_of(_film(0.8))
    stable = [state for state in states if state.unstable_modes == 0]
    if outcome.kind == "reached" or not stable:
        return math.nan
    return stable[-1].loads["voltage film"].value / (0.05 * _FIELD)


def solved_field_tube() -> float:
    """Nominal field at which a thick tube is open by 1.2, over √(μ/ε)."""
    tables = tube_tables(
        thickness="5 mm",
        electrics={"model": "solved"},
        electrodes=[{"name": "film", "region": "wall"}],
        sections=[{"name": "middle", "at": "5 mm"}],
        stages=[
            {"name": "begin", "voltage": "200 kV", "steps": 1},
            {"name": "open", "voltage": "300 kV", "opening": {"middle": "12 mm"}, "steps": 3},
        ],
    )
    tables["parts"] = [{"region": "wall", "material": "rubber", "sheets": {"count": 1, "thickness": "5 mm"}}]
    return states_of(tables)[1][-1].loads["voltage film"].value / (5.0 * _FIELD)


def natural_stretch() -> float:
    """Mean radial expansion of a free tube that grows by 1.1 around and through its wall."""
    tables = tube_tables(
        thickness="1 mm",
        supports=[{"region": "end_low", "hold": "axial"}],
        stages=[{"name": "rest", "steps": 1}],
    )
    natural = {"hoop": 1.1, "axial": 1.1**-2}  # as much through the wall as around
    tables["parts"] = [{"region": "wall", "material": "rubber", "natural_stretch": natural}]
    return value_of(states_of(tables)[1][-1], "mean radial expansion")


def oval_tube() -> float:
    """Suction over μ at which a tube in plane strain becomes oval."""
    tables = tube_tables(
        thickness="5 mm",
        length="1 mm",
        mesh={"along": "1 mm", "through": 4},
        stages=[{"name": "suck", "pressure": f"{-0.09 * MU} MPa", "steps": 3}],
        path={"harmonics": "all"},
    )
    outcome, states = states_of(tables)
    return math.nan if outcome.kind == "reached" else -states[-1].loads["pressure"].value / MU


def press_fit() -> float:
    """Pressure of a tube on a rod over E, at an interference of 0.01 of its radius."""
    tables = tube_tables(
        thickness="1 mm",
        contacts=[
            {
                "name": "rod",
                "kind": "cylinder",
                "surface": "lumen",
                "radius": "10 mm",
                "tolerance": "0.01 mm",
            }
        ],
        stages=[{"name": "push in", "obstacle": {"rod": "10.005 mm"}, "steps": 1}],
    )
    return value_of(states_of(tables)[1][-1], "contact pressure rod") / (3 * MU) * 0.01 / 0.0005


def _sphere(volume: str) -> dict[str, Any]:
    """A half sphere with B/A = 1.5 that is filled to a volume."""
    return case_tables(
        {
            "kind": "balloon",
            "meridian": {"kind": "sphere", "radius": "10 mm", "half": True},
            "layers": [{"name": "wall", "thickness": "5 mm"}],
        },
        mesh={"along": "2 mm", "through": 2},
        supports=[{"region": "end_low", "hold": "symmetric"}],
        stages=[{"name": "fill", "volume": volume, "steps": 6}],
        path={"beyond_instability": "follow"},
    )


def _film(field: float, *, sheets: int = 1) -> dict[str, Any]:
    """A film of 50 um under a nominal field, as a wide tube with free ends."""
    thickness = 0.05 / sheets
    tables = tube_tables(
        inner_radius="50 mm",
        thickness="50 um",
        mesh={"along": "10 mm", "through": 1},
        supports=[{"region": "end_low", "hold": "axial"}],
        electrodes=[{"name": "film", "region": "wall"}],
        stages=[{"name": "energise", "voltage": f"{field * thickness * _FIELD} kV", "steps": 6}],
    )
    stack = {"count": sheets, "thickness": f"{thickness} mm"}
    tables["parts"] = [{"region": "wall", "material": "rubber", "sheets": stack}]
    return tables
