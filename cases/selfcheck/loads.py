# SPDX-License-Identifier: MIT
"""Checks of loads, laws and models on tubes whose deformation is known."""

import math
from typing import Any

from annelid.cases.selfcheck.small_cases import MU, states_of, tube_tables, value_of

__all__ = ["fibre_tube", "hanging_tube", "pulled_tube", "solid_tube", "twisted_tube"]

_LAWS: dict[str, dict[str, Any]] = {
    "yeoh": {"c1": f"{MU / 2} MPa", "c2": f"{-MU / 100} MPa", "c3": f"{MU / 1000} MPa"},
    "ogden": {"moduli": [f"{1.2 * MU} MPa", f"{-0.2 * MU} MPa"], "exponents": [1.5, -2.0]},
}
_FIBRES = {"angle": "35 deg", "stiffness": f"{2 * MU} MPa", "stiffening": 0.8}


def pulled_tube(law: str) -> float:
    """Nominal stress over μ of a tube with free walls that is pulled to 1.5 times its length."""
    tables = tube_tables(
        thickness="2 mm",
        mesh={"along": "10 mm", "through": 1},
        stages=[{"name": "pull", "move": {"end_high": "5 mm"}, "steps": 3}],
    )
    tables["materials"] = {"rubber": {"law": law, **_LAWS[law]}}
    return value_of(states_of(tables)[1][-1], "axial reaction end_high") / (math.pi * 44 * MU)


def twisted_tube() -> float:
    """Torque over μ A³ of a tube whose upper end turns by one radian and keeps its height."""
    tables = tube_tables(
        thickness="5 mm",
        supports=[{"region": end, "hold": "axial twist"} for end in ("end_low", "end_high")],
        stages=[{"name": "turn", "twist": {"end_high": f"{math.degrees(1)} deg"}, "steps": 3}],
    )
    rubber = {"law": "mooney-rivlin", "c1": f"{0.3 * MU} MPa", "c2": f"{0.2 * MU} MPa"}
    tables["materials"] = {"rubber": rubber}
    return value_of(states_of(tables)[1][-1], "reaction torque end_high") / (MU * 1000)


def hanging_tube() -> float:
    """Elongation of a slender tube under 40 times its weight."""
    tables = tube_tables(
        thickness="0.5 mm",
        inner_radius="1.5 mm",
        length="200 mm",
        mesh={"along": "10 mm", "through": 1},
        supports=[{"region": "end_high", "hold": "axial"}],
        stages=[{"name": "hang", "gravity": {"axial": "-392.4 m/s2"}, "steps": 3}],
    )
    tables["materials"] = {
        "rubber": {"law": "neo-hookean", "shear_modulus": "0.1 MPa", "density": "1.1 g/cm3"}
    }
    return -value_of(states_of(tables)[1][-1], "axial shortening")


def fibre_tube() -> float:
    """P/μ of a stretched tube with a balanced pair of helical fibres that is opened by 1.3."""
    tables = tube_tables(
        thickness="1 mm",
        sections=[{"name": "middle", "at": "5 mm"}],
        stages=[
            {"name": "stretch", "move": {"end_high": "0.5 mm"}, "steps": 1},
            {"name": "open", "pressure": "0.05 MPa", "opening": {"middle": "13 mm"}, "steps": 4},
        ],
    )
    tables["parts"] = [{"region": "wall", "material": "rubber", "fibres": _FIBRES}]
    return value_of(states_of(tables)[1][-1], "lumen pressure") / MU


def solid_tube() -> float:
    """P/μ of a stretched thick tube that is opened to 1.5 times its inner radius, as a 3-D sector."""
    tables = tube_tables(
        thickness="5 mm",
        mesh={"model": "sector", "sector": "45 deg", "around": 24, "along": "10 mm", "through": 2},
        sections=[{"name": "middle", "at": "5 mm"}],
        stages=[
            {"name": "stretch", "move": {"end_high": "2 mm"}, "steps": 2},
            {"name": "open", "pressure": "0.05 MPa", "opening": {"middle": "15 mm"}, "steps": 3},
        ],
    )
    return value_of(states_of(tables)[1][-1], "lumen pressure") / MU
