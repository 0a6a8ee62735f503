# SPDX-License-Identifier: MIT
import copy
import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]

TABLES = {
    "title": "A plain tube",
    "shape": {
        "kind": "tube",
        "inner_radius": "4 mm",
        "length": "20 mm",
        "layers": [{"name": "wall", "thickness": "200 um"}],
    },
    "mesh": {"along": "2 mm", "through": 1},
    "materials": {
        "rubber": {
            "law": "neo-hookean",
            "shear_modulus": "0.1 MPa",
            "permittivity": 2.8,
            "breakdown_field": "80 V/um",
        }
    },
    "parts": [{"region": "wall", "material": "rubber", "sheets": {"count": 4}}],
    "electrodes": [
        {"name": "low", "region": "wall", "from": "2 mm", "to": "8 mm"},
        {"name": "high", "region": "wall", "from": "10 mm", "to": "18 mm"},
    ],
    "supports": [{"region": "end_low", "hold": "all"}, {"region": "end_high", "hold": "axial"}],
    "sections": [{"name": "middle", "at": "10 mm"}],
    "stages": [
        {"name": "fill", "pressure": "10 mmHg", "steps": 2},
        {"name": "energise", "voltage": {"all": "1 kV"}, "steps": 2},
    ],
    "requirements": [{"quantity": "radial expansion middle", "at_least": "1 %"}],
}


@pytest.fixture
def tables():
    """A small valid case as nested tables, free to change."""
    return copy.deepcopy(TABLES)


@pytest.fixture
def annelid(tmp_path):
    """Run the command line in an empty folder, as a user would."""

    def run(*arguments, **options):
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"}
        command = [sys.executable, "-m", "cases", *map(str, arguments)]
        return subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=300, **options
        )

    return run
