# SPDX-License-Identifier: MIT
"""The commands about scans: comparing them with a run, and inventing one."""

import argparse
import contextlib
import math
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.cases.cli.argument_types import output_file, output_folder, quantity, state_number
from annelid.cases.cli.scan_arguments import UNITS, add_datum, add_state
from annelid.cases.run.minute_lines import MinuteLines
from annelid.geometry.errors import InputError, InvalidValue

if TYPE_CHECKING:
    from annelid.cases.schema.comparison import ComparisonTable
    from annelid.compare.comparison.simulated_part import ComparisonSettings
    from annelid.compare.scans.cleaning_settings import Cleaning

__all__ = ["add_compare_arguments", "add_invent_arguments", "compare_command", "invent_command"]

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
INVENT_EXAMPLES = """\
examples:
  annelid invent-scan runs/cuff-0123abcd
  annelid invent-scan runs/cuff-0123abcd --seed 3 --out invented_3.ply

The scan has noise, outliers, a ghost of the part and holes, and an arbitrary pose. Files beside it contain
the truth about it. Name and header say that it is invented.
"""
_INVENTED = "invented"


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
    _add_cleaning(command)
    text = "folder to write to (default: RUNDIR/compare/SCAN; of several scans RUNDIR/compare)"
    command.add_argument("--out", type=output_folder, metavar="DIR", help=text)


def _add_cleaning(command: argparse.ArgumentParser) -> None:
    group = command.add_argument_group("cleaning", "These take precedence over the settings.")
    text = "keep every point of the scan"
    group.add_argument("--no-cleaning", action="store_true", help=text)
    text = 'keep one point in each cube of this edge, for example "0.3 mm"'
    group.add_argument(
        "--voxel", type=quantity("mm", "a length", "0.3 mm", above=0.0), metavar="LENGTH", help=text
    )
    text = (
        "robust standard deviations by which outliers are too far from neighbours; 0 keeps all (default: 3)"
    )
    group.add_argument("--outlier-strength", type=_number, metavar="S", help=text)
    text = "remove points with a smaller intensity"
    group.add_argument("--least-intensity", type=_number, metavar="I", help=text)
    text = "remove points seen at a larger angle to the normal; needs --view-direction or --scanner-position"
    group.add_argument("--grazing-angle", type=_number, metavar="DEG", help=text)
    text = 'direction from the scanner to the part in the frame of the scan, for example "0,0,-1"'
    group.add_argument("--view-direction", type=_vector, metavar="X,Y,Z", help=text)
    text = "position of the scanner in the frame of the scan, in UNIT"
    group.add_argument("--scanner-position", type=_vector, metavar="X,Y,Z", help=text)


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
        _cleaning(options, table),
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


def _cleaning(options: argparse.Namespace, table: "ComparisonTable") -> "Cleaning":
    """How scans are cleaned: options over settings."""
    from annelid.cases.convert.comparison import cleaning_of
    from annelid.compare.scans.cleaning_settings import Cleaning
    from annelid.compare.scans.units import unit_scale

    names = ("voxel", "outlier_strength", "least_intensity", "grazing_angle", "view_direction")
    given = {name: getattr(options, name) for name in names if getattr(options, name) is not None}
    if options.scanner_position is not None:
        scale = unit_scale(options.unit)
        given["scanner_position"] = tuple(scale * x for x in options.scanner_position)
    if options.no_cleaning:
        if given:
            named = ", ".join("--" + name.replace("_", "-") for name in given)
            text = f"removes nothing, but {named} is given, too; leave out one"
            raise InputError(f"--no-cleaning: {text}", key="--no-cleaning")
        return Cleaning.none()
    try:
        return cleaning_of(table.cleaning.model_copy(update=given))
    except InvalidValue as error:
        option = "--" + error.key.replace("_", "-") if error.key in given else f"cleaning: {error.key}"
        raise InputError(f"{option}: {error.problem}", key=option) from None


def add_invent_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid invent-scan``."""
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    text = f'file to write, .ply or .csv, with "{_INVENTED}" in its name (default: invented_SEED.ply)'
    command.add_argument("--out", type=output_file, metavar="FILE", help=text)
    text = "seed of the random numbers; the same seed gives the same scan (default: 0)"
    command.add_argument("--seed", type=_seed, default=0, metavar="N", help=text)
    add_state(command)


def invent_command(options: argparse.Namespace) -> int:
    """Invent the scan of a state of a run.

    Raises:
        InputError: The name of the file does not say that the scan is invented, or there is no such state.
    """
    from annelid.cases.run.environment import require_libraries
    from annelid.compare.invented.invented_files import STATEMENT, write_invented_scan
    from annelid.compare.invented.invented_scan import invent_scan
    from annelid.compare.invented.scanned_surface import surface_of_run
    from annelid.compare.invented.scanner import example_scanner
    from annelid.results.folder.run_record import open_run

    out = options.out or Path(f"{_INVENTED}_{options.seed}.ply")
    if _INVENTED not in out.stem.lower():
        text = f'must contain "{_INVENTED}", so that nobody takes the scan for a measurement'
        raise InputError(f'--out: "{out}" {text}', key="--out")
    run = open_run(options.rundir)
    require_libraries()
    behind = "lumen" if "lumen" in run.body.surfaces else ""
    surface = surface_of_run(run, options.state, behind=behind)
    cloud, truth = invent_scan(surface, example_scanner(surface, options.seed))
    written = write_invented_scan(cloud, truth, out)
    print(f"{len(cloud.points)} points; {STATEMENT}")
    print(*(f"written: {file}" for file in (out, *written)), sep="\n")
    return 0


def _state_or_best(text: str) -> int | str | None:
    try:
        return "best" if text == "best" else state_number(text)
    except argparse.ArgumentTypeError as error:
        raise argparse.ArgumentTypeError(f'{error}, nor "best"') from None


def _voltage(text: str) -> tuple[str, float]:
    """Name of the column and voltage."""
    name, equals, value = text.rpartition("=")
    return f"voltage {name}" if equals else "voltage", quantity("kV", "a voltage", "1.5 kV")(value)


def _number(text: str) -> float:
    with contextlib.suppress(ValueError):
        if math.isfinite(float(text)):
            return float(text)
    raise argparse.ArgumentTypeError(f'"{text}" is not a number')


def _vector(text: str) -> tuple[float, ...]:
    parts = text.split(",")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f'"{text}" is not three numbers such as "0,0,-1"')
    return tuple(_number(part) for part in parts)


def _seed(text: str) -> int:
    if not text.isdigit() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of 0 or more')
    return int(text)
