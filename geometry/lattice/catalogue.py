# SPDX-License-Identifier: MIT
"""Lattice cells by name."""

from annelid.geometry.lattice.honeycombs import (
    DiamondBraid,
    DoubleArrowhead,
    Helices,
    Honeycomb,
    ReentrantHoneycomb,
)
from annelid.geometry.lattice.rotating_cells import (
    AntiTetrachiral,
    Hexachiral,
    RotatingSquares,
    SinusoidalLigaments,
)

LatticeCell = (
    Honeycomb
    | ReentrantHoneycomb
    | RotatingSquares
    | Hexachiral
    | AntiTetrachiral
    | DoubleArrowhead
    | SinusoidalLigaments
    | DiamondBraid
    | Helices
)

CELLS: dict[str, type[LatticeCell]] = {
    "honeycomb": Honeycomb,
    "re-entrant": ReentrantHoneycomb,
    "rotating-squares": RotatingSquares,
    "hexachiral": Hexachiral,
    "anti-tetrachiral": AntiTetrachiral,
    "arrowhead": DoubleArrowhead,
    "sinusoidal": SinusoidalLigaments,
    "diamond": DiamondBraid,
    "helices": Helices,
}
"""The kinds of cells by name; their parameters are lengths in mm and angles in degrees."""

EXAMPLES: dict[str, LatticeCell] = {
    "honeycomb": Honeycomb(vertical=3.0, inclined=3.0, angle=30.0, width=0.4),
    "re-entrant": ReentrantHoneycomb(vertical=5.0, inclined=3.0, angle=30.0, width=0.4),
    "rotating-squares": RotatingSquares(side=3.0, opening=40.0, ligament=0.4, width=0.4),
    "hexachiral": Hexachiral(node_radius=1.0, ligament=4.0, width=0.4),
    "anti-tetrachiral": AntiTetrachiral(node_radius=1.0, ligament=4.0, width=0.4),
    "arrowhead": DoubleArrowhead(long_arm=5.0, long_angle=30.0, short_angle=60.0, width=0.3),
    "sinusoidal": SinusoidalLigaments(spacing=4.0, amplitude=0.8, width=0.4),
    "diamond": DiamondBraid(strut=3.5, braid_angle=40.0, width=0.4),
    "helices": Helices(spacing=3.0, helix_angle=30.0, width=0.5),
}
"""One cell of each kind, with sizes that can be printed with lines 0.4 mm wide."""
