# SPDX-License-Identifier: MIT
"""The command that compares scans with a run."""

import argparse
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.cases.cli.argument_types import output_folder, quantity, state_number
from annelid.cases.cli.cleaning_arguments import add_cleaning, cleaning_from
from annelid.cases.cli.scan_arguments import UNITS, add_datum
from annelid.cases.run.minute_lines import MinuteLines
from annelid.geometry.errors import InputError

if TYPE_CHECKING:
    from annelid.cases.schema.comparison import ComparisonTable
    from annelid.compare.comparison.simulated_part import ComparisonSettings

__all__ = ["COMPARE_EXAMPLES", "add_compare_arguments", "compare_command"]

COMPARE_EXAMPLES = """\
examples:
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm
  annelid compare runs/cuff-0123abcd monday.stl tuesday.stl --unit in --state 4
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm --points marks.csv
  annelid compare runs/cuff-0123abcd bore.xyz --unit mm --surface lumen --out bore
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm --pressure "3.2 kPa" --voltage "1.5 kV"
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm --pressure "3.3 kPa" --solve
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm --state best --settings bench.toml

Scans are PLY, STL, OBJ or VTP files, or tables of points (XYZ, CSV, TXT), in any pose. The folder of a scan
has a page (compare.html), the deviation of each point (CSV, Parquet), the simulated surface with the
deviation (VTP), the aligned scan (PLY) and a summary (JSON). Several scans also get a common page.

Requirements on a measured part, and how scans are cleaned, are the table [comparison] of the case, or a file
with the keys of this table: --settings bench.toml.
"""


def add_compare_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid compare``."""
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    command.add_argument("scans", type=Path, nargs="+", metavar="SCAN", help="a file of a scan")
    text = f"unit of the lengths in the scans: {UNITS}"
    command.add_argument("--unit", required=True, metavar="UNIT", help=text)
    text = (
        "number of the state, from the end if negative, last, or best for the one that fits best "
        "(default: last)"
    )
    command.add_argument("--state", type=_state_or_best, default=None, metavar="N", help=text)
    text = "pressure in the part while it was scanned: the state with it, interpolated if it lies between two"
    command.add_argument("--pressure", type=quantity("MPa", "a pressure", "3.2 kPa"), metavar="P", help=text)
    text = 'voltage while it was scanned, of all electrodes ("1.5 kV") or of one ("ring_3=1.5 kV")'
    command.add_argument("--voltage", type=_voltage, action="append", default=[], metavar="V", help=text)
    text = "volume of the lumen while it was scanned, as in path.csv"
    command.add_argument("--volume", type=quantity("mm3", "a volume", "40 mL"), metavar="V", help=text)
    text = "solve the case on to exactly these loads, and compare with that state"
    command.add_argument("--solve", action="store_true", help=text)
    add_datum(command)
    text = (
        "named points as CSV: name, x_scan, y_scan, z_scan (in UNIT), x_part, y_part, z_part (mm); they fix "
        "motions that the surface leaves free"
    )
    command.add_argument("--points", type=Path, metavar="CSV", help=text)
    text = "fit a scale, too, which hides a true difference of size"
    command.add_argument("--scale", action="store_true", help=text)
    text = "TOML file with requirements and cleaning, in place of [comparison] of the case of the run"
    command.add_argument("--settings", type=Path, metavar="TOML", help=text)
    add_cleaning(command)
    text = "folder to write to (default: RUNDIR/compare/SCAN; of several scans RUNDIR/compare)"
    command.add_argument("--out", type=output_folder, metavar="DIR", help=text)


def compare_command(options: argparse.Namespace) -> int:
    """Compare scans with a state of a run.

    Raises:
        InputError: The run, a scan, the named points or the settings cannot be used.
    """
    from annelid.cases.convert.comparison import limits_of
    from annelid.cases.run.environment import require_libraries
    from annelid.compare.alignment.records import AlignmentSettings
    from annelid.compare.comparison.named_points import read_named_points
    from annelid.compare.comparison.simulated_part import ComparisonSettings
    from annelid.compare.page.write import write_comparisons

    require_libraries()
    if options.points and len(options.scans) > 1:
        raise InputError("--points: named points belong to one scan; name only this one", key="--points")
    if options.datum == "points" and not options.points:
        raise InputError("--datum: points needs --points, the file with them", key="--datum")
    table = _table(options)
    settings = ComparisonSettings(
        options.unit,
        options.state,
        options.surface,
        _loads(options),
        AlignmentSettings(options.datum, with_scale=options.scale),
        read_named_points(options.points, unit=options.unit) if options.points else {},
        cleaning_from(options, table.cleaning),
        tuple(limit for requirement in table.requirements for limit in limits_of(requirement)),
        table.scanner_uncertainty or 0.0,
    )
    run, out = options.rundir, options.out
    if options.solve:
        run, out, settings = _solved(options, settings)
    with MinuteLines("comparing"):
        page, lines = write_comparisons(run, options.scans, settings, out=out)
    print(*lines, f"written: {page}", sep="\n")
    return 0


def _table(options: argparse.Namespace) -> "ComparisonTable":
    """The settings: of the file if one is given, else of the case of the run."""
    from annelid.cases.schema.comparison import ComparisonTable
    from annelid.cases.validate.comparison_file import read_comparison
    from annelid.cases.validate.reading import read_case
    from annelid.results.folder.folder_files import CASE
    from annelid.results.folder.run_record import open_run

    if options.settings is not None:
        return read_comparison(options.settings)
    open_run(options.rundir)  # a damaged run is reported first
    return read_case(options.rundir / CASE).comparison or ComparisonTable()


def _loads(options: argparse.Namespace) -> dict[str, float]:
    """Given loads by the name of their column."""
    loads = {"pressure": options.pressure, "lumen volume": options.volume}
    for name, value in options.voltage:
        if name in loads:
            raise InputError(f"--voltage: {name} is given twice", key="--voltage")
        loads[name] = value
    if "voltage" in loads and len(options.voltage) > 1:
        raise InputError("--voltage: give one for all electrodes, or one for each by name", key="--voltage")
    return {name: value for name, value in loads.items() if value is not None}


def _solved(
    options: argparse.Namespace, settings: "ComparisonSettings"
) -> tuple[Path, Path | None, "ComparisonSettings"]:
    """Solve for the state of the scans: its run, the folder of the comparisons, and the settings for it."""
    from annelid.cases.run.solved_state import solved_state
    from annelid.compare.page.write import comparison_folder
    from annelid.compare.scans.reading import read_scan

    if not settings.loads or settings.state is not None:
        text = "needs the loads of the scan (--pressure, --voltage or --volume), and no --state"
        raise InputError(f"--solve: {text}", key="--solve")
    for scan in options.scans:  # before a solution that may take long
        read_scan(scan, unit=options.unit)
    print("solving for the state of the scan", file=sys.stderr)
    solved = solved_state(options.rundir, settings.loads)
    if solved is None:
        return options.rundir, options.out, settings
    out = options.out or comparison_folder(options.rundir, options.scans)
    return solved.run, out, replace(settings, loads={}, about_state=(solved.remark,))


def _state_or_best(text: str) -> int | str | None:
    try:
        return "best" if text == "best" else state_number(text)
    except argparse.ArgumentTypeError as error:
        raise argparse.ArgumentTypeError(f'{error}, nor "best"') from None


def _voltage(text: str) -> tuple[str, float]:
    """Name of the column and voltage."""
    name, equals, value = text.rpartition("=")
    return f"voltage {name}" if equals else "voltage", quantity("kV", "a voltage", "1.5 kV")(value)
