# SPDX-License-Identifier: MIT
"""The lattice of a case by itself: effective moduli and collapse curves of one flat cell."""

from pathlib import Path

from cases.building import material_of
from cases.laying import cell_of
from cases.schema import Case
from geometry.errors import InputError
from geometry.unit_cell import unit_cell

__all__ = ["write_cell_of"]


def write_cell_of(case: Case, folder: Path, *, to: float | None, steps: int) -> list[str]:
    """Find and write the properties of a case's lattice cell, as drawn flat.

    Args:
        case: A resolved case with a lattice and its material.
        folder: Where ``moduli.csv``, ``collapse.csv`` and ``cell.png`` go.
        to: Mean stretch up to which the cell is pulled or pressed, along either axis; ``None``: moduli alone.
        steps: Wanted number of steps.

    Returns:
        Lines of text.

    Raises:
        InputError: The case has no lattice, or does not say what it is made of.
    """
    from results.cell_files import moduli_lines, write_cell
    from solver.unit_cell import AXES, UnitCell

    if case.lattice is None:
        raise InputError("lattice: this case has none; add the table [lattice]", key="lattice")
    part = next((part for part in case.parts if part.region == "lattice"), None)
    if part is None:
        raise InputError(
            'parts: nothing says what the lattice is made of; add [[parts]] region = "lattice"', key="parts"
        )
    pattern = cell_of(case.lattice.cell).pattern()
    period = pattern.width, pattern.height
    body = unit_cell(pattern, height=case.lattice.height)
    cell = UnitCell(body, period, material_of(case, part.material))
    moduli = cell.moduli()
    curves = {} if to is None else {axis: cell.collapse(axis, to, steps=steps) for axis in AXES}
    written = write_cell(folder, case.title, body, period, moduli, curves)
    lines = [
        f"{name}: {value:.4g}{'' if unit == '1' else ' ' + unit}"
        for name, value, unit in moduli_lines(moduli)
    ]
    for axis, states in curves.items():
        reached = states[-1].stretch
        if to is not None and abs(reached - to) > 1e-6:
            lines.append(f"pulled {axis} up to a stretch of {reached:.4g}; beyond it no state was found")
        if (unstable := next((s for s in states if s.unstable_modes), None)) is not None:
            lines.append(f"pulled {axis}, the cell buckles at or before a stretch of {unstable.stretch:.4g}")
    return [*lines, *(f"written: {path}" for path in written)]
