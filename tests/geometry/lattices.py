# SPDX-License-Identifier: MIT
"""Cells for tests of lattices: one of each kind, of invented sizes."""

from geometry.lattice import CELLS

EXAMPLES = {
    "honeycomb": {"vertical": 3.0, "inclined": 3.0, "angle": 30.0, "width": 0.4},
    "re-entrant": {"vertical": 5.0, "inclined": 3.0, "angle": 30.0, "width": 0.4},
    "rotating-squares": {"side": 3.0, "opening": 40.0, "ligament": 0.4, "width": 0.4},
    "hexachiral": {"node_radius": 1.0, "ligament": 4.0, "width": 0.4},
    "anti-tetrachiral": {"node_radius": 1.0, "ligament": 4.0, "width": 0.4},
    "arrowhead": {"long_arm": 5.0, "long_angle": 30.0, "short_angle": 60.0, "width": 0.3},
    "sinusoidal": {"spacing": 4.0, "amplitude": 0.8, "width": 0.4},
    "diamond": {"strut": 3.5, "braid_angle": 40.0, "width": 0.4},
    "helices": {"spacing": 3.0, "helix_angle": 30.0, "width": 0.5},
}


def pattern_of(kind, **changes):
    return CELLS[kind](**(EXAMPLES[kind] | changes)).pattern()
