# SPDX-License-Identifier: MIT
"""Writing the files for printing the lattice of a case, and describing them."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from annelid.cases.convert.lattice import angle_note, lattice_of
from annelid.cases.convert.shape import entries_of
from annelid.cases.schema.case import Case
from annelid.geometry.errors import InputError
from annelid.geometry.lattice.measured_chart import MeasuredChart
from annelid.geometry.lattice.wrapping import Lattice
from annelid.geometry.printing.nozzle_clearance import Clearance, clearance_of
from annelid.geometry.printing.settings import PrinterSettings
from annelid.geometry.printing.tool_path import ToolPath, tool_path

__all__ = ["describe_print", "planned_print", "write_print_of"]

LATTICE, PATH = "lattice.png", "tool_path.png"
_LARGE_TILT = 30.0  # degrees off the normal beyond which the edge of a nozzle matters


def write_print_of(case: Case, folder: Path) -> tuple[ToolPath, Clearance, list[Path]]:
    """Write the files for the lattice of a case.

    Returns:
        The tool path, the clearance of the nozzle, and the files.

    Raises:
        InputError: The case has no lattice, or the lattice cannot be placed, printed, or printed without a
            collision of the nozzle.
    """
    from annelid.results.lattice.pictures import lattice_picture, path_picture
    from annelid.results.lattice.print_files import write_print_files

    path, clearance = planned_print(case)
    files = write_print_files(path, folder, case.title)
    pictures = [lattice_picture(path.lattice, folder / LATTICE), path_picture(path, folder / PATH)]
    return path, clearance, [*files, *pictures]


def planned_print(case: Case) -> tuple[ToolPath, Clearance]:
    """Return the tool path of the lattice of a case and the clearance of the nozzle.

    Raises:
        InputError: As for ``write_print_of``.
    """
    lattice = lattice_of(case)
    assert case.lattice is not None
    path = tool_path(lattice, PrinterSettings(**entries_of(case.lattice.printing)))
    clearance = clearance_of(path)
    _refuse_collisions(path, clearance)
    return path, clearance


def describe_print(path: ToolPath, clearance: Clearance) -> Iterator[str]:
    """Return lines that describe the print."""
    yield from _lattice_lines(path.lattice)
    yield (
        f"{path.layers} layers, {path.printed_length / 1000:.2f} m of printed lines, {path.lifts} lifts (at "
        f"least {path.layers * path.min_trails - 1} are needed), {path.travel_length / 1000:.2f} m of travel"
    )
    minutes = f"{path.duration / 60:.0f} min"
    yield f"the print takes about {minutes} with the given speeds and accelerations of the axes"
    if path.settings.machine == "rotary":
        note = '; consider machine = "five-axis"' if path.max_tilt > _LARGE_TILT else ""
        yield f"the nozzle is tilted by up to {path.max_tilt:.0f} degrees from the normal{note}"
    gap = f"{clearance.smallest_gap:.2g} mm"
    yield f"the smallest gap between nozzle and part is {gap} at {clearance.checked} places checked"
    yield (
        "dry-run the program first, without a part, with a raised nozzle and a low feed, and keep your hand "
        "on the stop button"
    )


def _refuse_collisions(path: ToolPath, clearance: Clearance) -> None:
    if not len(clearance.collisions):
        return
    x, y, z = clearance.tip
    turn = np.degrees(np.arctan2(y, x)) % 360.0
    tilt = "" if path.settings.machine == "five-axis" else 'machine = "five-axis", '
    raise InputError(
        "lattice.printing: the nozzle would collide with the part or the layers below at "
        f"{len(clearance.collisions)} of {clearance.checked} places checked, at worst at a height of {z:.3g} "
        f"mm and {turn:.0f} deg around, by {-clearance.smallest_gap:.2g} mm: give {tilt}a smaller tip, "
        "cone_angle or body, a longer cone_length or more stand_off",
        key="lattice.printing",
        value=clearance.smallest_gap,
    )


def _lattice_lines(lattice: Lattice) -> Iterator[str]:
    yield (
        f"{lattice.around} by {lattice.along} {lattice.pattern.name} cells; their size at the widest circle "
        f"is {lattice.scale_factor:.3g} times that of the flat cell, and the smallest size is "
        f"{lattice.smallest:.3g} times that at the widest circle"
    )
    if isinstance(lattice.chart, MeasuredChart):
        yield angle_note(lattice.chart)
