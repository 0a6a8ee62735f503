# SPDX-License-Identifier: MIT
"""Small valid cases as nested tables, and the folder of the project."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

BARE = {
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
    "stages": [{"name": "fill", "pressure": "5 mmHg", "steps": 1}],
}

TABLES = BARE | {
    "materials": {
        "rubber": BARE["materials"]["rubber"] | {"permittivity": 2.8, "breakdown_field": "80 V/um"}
    },
    "parts": [{"region": "wall", "material": "rubber", "sheets": {"count": 4}}],
    "electrodes": [
        {"name": "low", "region": "wall", "from": "2 mm", "to": "8 mm"},
        {"name": "high", "region": "wall", "from": "10 mm", "to": "18 mm"},
    ],
    "sections": [{"name": "middle", "at": "10 mm"}],
    "stages": [
        {"name": "fill", "pressure": "10 mmHg", "steps": 2},
        {"name": "energise", "voltage": {"all": "1 kV"}, "steps": 2},
    ],
    "requirements": [{"quantity": "radial expansion middle", "at_least": "1 %"}],
}
