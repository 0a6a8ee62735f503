# SPDX-License-Identifier: MIT
"""From a case to the files a printer is given, and what is said of them."""

from collections.abc import Iterator
from pathlib import Path

from cases.laying import lattice_of
from cases.schema import Case
from geometry.laying import Lattice
from geometry.measured import Measured
from geometry.printing import Printing
from geometry.tool_path import ToolPath, tool_path

__all__ = ["print_case", "told"]

LATTICE, PATH = "lattice.png", "tool_path.png"
_LARGE_TILT = 30.0  # degrees off the normal beyond which a nozzle's edge plays a part


def print_case(case: Case, folder: Path) -> tuple[ToolPath, list[Path]]:
    """Write the files for the lattice of a case and return its tool path and the files.

    Raises:
        InputError: The case has no lattice, or it cannot be laid or printed.
    """
    from results.lattice_pictures import lattice_picture, path_picture
    from results.print_files import write_print_files

    lattice = lattice_of(case)
    assert case.lattice is not None
    path = tool_path(lattice, Printing(**dict(case.lattice.printing)))
    files = write_print_files(path, folder, case.title)
    return path, [*files, lattice_picture(lattice, folder / LATTICE), path_picture(path, folder / PATH)]


def told(path: ToolPath) -> Iterator[str]:
    """Lines that say what is printed and how."""
    yield from _laid(path.lattice)
    yield (
        f"{path.layers} layers, {path.printed / 1000:.2f} m of printed lines, {path.lifts} lifts (at least "
        f"{path.layers * path.fewest - 1} are needed), {path.travelled / 1000:.2f} m of travel"
    )
    yield f"about {path.duration / 60:.0f} min at the speeds and accelerations of the axes in printing"
    if path.printing.machine == "rotary":
        note = '; consider machine = "five-axis"' if path.steepest > _LARGE_TILT else ""
        yield f"the nozzle stands up to {path.steepest:.0f} degrees off the normal{note}"
    yield "dry-run the program first: no part, nozzle high, feed low, hand on the stop"


def _laid(lattice: Lattice) -> Iterator[str]:
    yield (
        f"{lattice.around} by {lattice.along} cells of {lattice.pattern.name}, {lattice.growth:.3g} times "
        f"their drawn size at the widest circle, the smallest {lattice.smallest:.3g} of that"
    )
    if isinstance(lattice.chart, Measured):
        off = lattice.chart.angle_error
        yield f"angles of cells on the measured surface are off by at most {off:.2g} degrees"
