# SPDX-License-Identifier: MIT
"""Lattice cells by name."""

from geometry.honeycombs import DiamondBraid, DoubleArrowhead, Helices, Honeycomb, ReentrantHoneycomb
from geometry.rotating import AntiTetrachiral, Hexachiral, RotatingSquares, SinusoidalLigaments

Cell = (
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

CELLS: dict[str, type[Cell]] = {
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
"""The kinds of cells; parameters are those of the records, lengths in mm, angles in degrees."""
