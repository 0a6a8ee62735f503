# SPDX-License-Identifier: MIT
"""Effective moduli and collapse curves of one flat cell of the lattice of a case."""

from collections.abc import Sequence
from pathlib import Path

from annelid.cases.convert.lattice import cell_of
from annelid.cases.convert.model import material_of
from annelid.cases.schema.case import Case
from annelid.cases.schema.lattice import LatticeTable
from annelid.geometry.errors import InvalidValue
from annelid.geometry.lattice_mesh.cell_mesh import unit_cell
from annelid.solver.records import CollapseState

__all__ = ["write_lattice_properties"]


def write_lattice_properties(case: Case, folder: Path, *, to: float | None, steps: int) -> list[str]:
    """Compute and write the properties of the flat lattice cell of a case.

    Args:
        case: A resolved case with a lattice and its material.
        folder: Folder of ``moduli.csv``, ``collapse.csv`` and ``cell.png``.
        to: Mean stretch up to which the cell is loaded along each axis; ``None``: compute only the moduli.
        steps: Number of steps; they are halved where no state is found.

    Returns:
        Lines that describe the properties and name the files.

    Raises:
        InputError: The case has no lattice, or no part of region ``lattice``.
    """
    from annelid.results.lattice.cell_files import moduli_lines, write_cell
    from annelid.solver.homogenisation.collapse import AXES, collapse_curve
    from annelid.solver.homogenisation.unit_cell import UnitCell

    lattice, material = _lattice_of(case)
    pattern = cell_of(lattice.cell).pattern()
    period = pattern.width, pattern.height
    body = unit_cell(pattern, height=lattice.height)
    cell = UnitCell(body, period, material_of(case, material))
    moduli = cell.moduli()
    curves = {} if to is None else {axis: collapse_curve(cell, axis, to, steps=steps) for axis in AXES}
    written = write_cell(folder, case.title, body, period, moduli, curves)
    lines = [
        f"{name}: {value:.4g}{'' if unit == '1' else ' ' + unit}"
        for name, value, unit in moduli_lines(moduli)
    ]
    if to is not None:
        lines += [line for axis, states in curves.items() for line in _critical_stretches(axis, states, to)]
    return [*lines, *(f"written: {path}" for path in written)]


def _lattice_of(case: Case) -> tuple[LatticeTable, str]:
    """The lattice of a case and the name of its material."""
    if case.lattice is None:
        raise InvalidValue("missing: this command needs a case with the table [lattice]", key="lattice")
    part = next((part for part in case.parts if part.region == "lattice"), None)
    if part is None:
        raise InvalidValue("missing: the part of region 'lattice'", key="parts")
    return case.lattice, part.material


def _critical_stretches(axis: str, states: Sequence[CollapseState], to: float) -> list[str]:
    """Describe where loading along an axis ended short of ``to``, and where the cell buckles."""
    lines = []
    reached = states[-1].stretch
    if abs(reached - to) > 1e-6:
        lines.append(f"loading {axis}: no state was found beyond a stretch of {reached:.4g}")
    if (buckled := next((s for s in states if s.buckled or s.unstable_modes), None)) is not None:
        where = f"loading {axis}: the cell buckles at or before a stretch of {buckled.stretch:.4g}"
        lines.append(f"{where} and a stress of {1e3 * buckled.stress:.3g} kPa")
    if (unstable := next((s for s in states if s.unstable_modes), None)) is not None:
        lines.append(f"loading {axis}: no stable state was found from a stretch of {unstable.stretch:.4g} on")
    return lines
