# SPDX-License-Identifier: MIT
"""The command that makes the measured surface of a case from a scan."""

import argparse
from pathlib import Path

from annelid.cases.cli.argument_types import output_folder, quantity
from annelid.cases.cli.scan_arguments import UNITS, add_state
from annelid.cases.run.minute_lines import MinuteLines

__all__ = ["SURFACE_EXAMPLES", "add_surface_arguments", "surface_command"]

SURFACE_EXAMPLES = """\
examples:
  annelid surface-from-scan balloon.ply --unit mm
  annelid surface-from-scan balloon.ply --unit mm --from 2 --to 28 --out balloon_surface
  annelid surface-from-scan balloon.ply --unit mm --run runs/balloon-0123abcd

The folder has surface.csv, which a case takes as lattice.measured = { kind = "file", path = ... }, the same
with the standard deviation of each radius (surface_uncertainty.csv), a picture and a summary. Look at the
picture.
"""


def add_surface_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid surface-from-scan``."""
    command.add_argument("scan", type=Path, metavar="SCAN", help="a file of a scan")
    text = f"unit of the lengths in the scan: {UNITS}"
    command.add_argument("--unit", required=True, metavar="UNIT", help=text)
    text = (
        "the axis of the surface: the line nearest to the middles of all sections, or through the middles of "
        "both end rings (default: sections)"
    )
    command.add_argument("--axis", choices=("sections", "ends"), default="sections", help=text)
    text = "a run with whose outer surface the scan is aligned: heights and angles are then those of the part"
    command.add_argument("--run", type=Path, metavar="RUNDIR", help=text)
    add_state(command)
    length = quantity("mm", "a length", "4 mm")
    text = "lowest height; without --run above the lowest point of the scan (default: where it begins)"
    command.add_argument("--from", dest="low", type=length, metavar="LENGTH", help=text)
    text = "highest height (default: where the scan ends)"
    command.add_argument("--to", dest="high", type=length, metavar="LENGTH", help=text)
    text = "number of angles in surface.csv, 16 to 720 (default: 72)"
    command.add_argument("--angles", type=int, default=72, metavar="N", help=text)
    text = "width of the largest hole that is filled, in diameters of the surface (default: 0.5)"
    command.add_argument("--largest-hole", type=float, default=0.5, metavar="SHARE", help=text)
    text = "folder to write to (default: SCAN_surface beside the scan)"
    command.add_argument("--out", type=output_folder, metavar="DIR", help=text)


def surface_command(options: argparse.Namespace) -> int:
    """Fit the surface of a scan and write it for a case.

    Raises:
        InputError: The scan cannot be used, or its surface cannot be fitted.
    """
    from annelid.cases.run.environment import require_libraries
    from annelid.compare.comparison.files import check_folder
    from annelid.compare.measured.scanned import measured_scan
    from annelid.compare.measured.settings import SurfaceSettings
    from annelid.compare.measured.surface_files import FILES, KIND, lines_of, write_surface

    settings = SurfaceSettings(options.axis, options.low, options.high, options.angles, options.largest_hole)
    folder = options.out or options.scan.with_name(f"{options.scan.stem}_surface")
    check_folder(folder, kind=KIND, files=FILES)
    require_libraries()
    with MinuteLines("fitting the surface"):
        measured = measured_scan(
            options.scan, settings, unit=options.unit, run=options.run, state=options.state
        )
        path = write_surface(measured, folder)
    print(*filter(None, lines_of(measured)), f"written: {path}", sep="\n")
    return 0
