# SPDX-License-Identifier: MIT
"""A plain tube under pressure, in a second, or in as many as its steps take."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def tables(steps):
    return {
        "title": "A plain tube",
        "shape": {
            "kind": "tube",
            "inner_radius": "4 mm",
            "length": "20 mm",
            "layers": [{"name": "wall", "thickness": "200 um"}],
        },
        "mesh": {"along": "2 mm", "through": 1},
        "materials": {"rubber": {"law": "neo-hookean", "shear_modulus": "0.1 MPa"}},
        "parts": [{"region": "wall", "material": "rubber"}],
        "supports": [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "axial"}],
        "stages": [{"name": "fill", "pressure": "5 mmHg", "steps": steps}],
    }


def pressures(*values):
    return {
        "key": "stages.fill.pressure",
        "name": "pressure",
        "values": [f"{value} mmHg" for value in values],
    }
