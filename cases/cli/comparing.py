# SPDX-License-Identifier: MIT
"""The commands about scans: comparing them with a run, and inventing one."""

import argparse
from pathlib import Path

from annelid.cases.cli.argument_types import output_file, output_folder
from annelid.cases.run.minute_lines import MinuteLines
from annelid.geometry.errors import InputError

__all__ = ["add_compare_arguments", "add_invent_arguments", "compare_command", "invent_command"]

COMPARE_EXAMPLES = """\
examples:
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm
  annelid compare runs/cuff-0123abcd monday.stl tuesday.stl --unit in --state 4
  annelid compare runs/cuff-0123abcd part_7.ply --unit mm --points marks.csv
  annelid compare runs/cuff-0123abcd bore.xyz --unit mm --surface lumen --out bore

Scans are PLY, STL, OBJ or VTP files, or tables of points (XYZ, CSV, TXT), in any pose. The folder of a scan
has a page (compare.html), the deviation of each point (CSV, Parquet), the simulated surface with the
deviation (VTP), the aligned scan (PLY) and a summary (JSON). Several scans also get a common page.
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
    text = "unit of the lengths in the scans: µm (um), mm, cm, in or m; it is never guessed"
    command.add_argument("--unit", required=True, metavar="UNIT", help=text)
    text = "number of the state, from the end if negative, or last (default: last)"
    command.add_argument("--state", type=_state, default=None, metavar="N", help=text)
    text = "the simulated surface that was scanned (default: outer)"
    command.add_argument("--surface", choices=("outer", "lumen"), default="outer", help=text)
    text = "what is laid on each other: the surface, its two ends, or named points (default: surface)"
    command.add_argument("--datum", choices=("surface", "ends", "points"), default="surface", help=text)
    text = (
        "named points as CSV: name, x_scan, y_scan, z_scan (in UNIT), x_part, y_part, z_part (mm); they fix "
        "motions that the surface leaves free"
    )
    command.add_argument("--points", type=Path, metavar="CSV", help=text)
    text = "fit a scale, too, which hides a true difference of size"
    command.add_argument("--with-scale", action="store_true", help=text)
    text = "folder to write to (default: RUNDIR/compare/SCAN; of several scans RUNDIR/compare)"
    command.add_argument("--out", type=output_folder, metavar="DIR", help=text)


def compare_command(options: argparse.Namespace) -> int:
    """Compare scans with a state of a run.

    Raises:
        InputError: The run, a scan or the named points cannot be used.
    """
    from annelid.cases.run.environment import require_libraries
    from annelid.compare.alignment.records import AlignmentSettings
    from annelid.compare.comparison.named_points import read_named_points
    from annelid.compare.comparison.simulated_part import ALL_POINTS, ComparisonSettings
    from annelid.compare.page.write import write_comparisons

    require_libraries()
    alignment = AlignmentSettings(options.datum, kept=ALL_POINTS, with_scale=options.with_scale)
    if options.points and len(options.scans) > 1:
        raise InputError("--points: named points belong to one scan; name only this one", key="--points")
    fiducials = read_named_points(options.points, unit=options.unit) if options.points else {}
    settings = ComparisonSettings(options.unit, options.state, options.surface, alignment, fiducials)
    with MinuteLines("comparing"):
        page, lines = write_comparisons(options.rundir, options.scans, settings, out=options.out)
    print(*lines, f"written: {page}", sep="\n")
    return 0


def add_invent_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid invent-scan``."""
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    text = f'file to write, .ply or .csv, with "{_INVENTED}" in its name (default: invented_SEED.ply)'
    command.add_argument("--out", type=output_file, metavar="FILE", help=text)
    text = "seed of the random numbers; the same seed gives the same scan (default: 0)"
    command.add_argument("--seed", type=_seed, default=0, metavar="N", help=text)
    text = "number of the state, from the end if negative, or last (default: last)"
    command.add_argument("--state", type=_state, default=None, metavar="N", help=text)


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


def _state(text: str) -> int | None:
    """The number of a state; None for the last."""
    if text == "last":
        return None
    try:
        return int(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f'"{text}" is neither the number of a state nor "last"') from None


def _seed(text: str) -> int:
    if not text.isdigit() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of 0 or more')
    return int(text)
