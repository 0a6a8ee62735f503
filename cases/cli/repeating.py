# SPDX-License-Identifier: MIT
"""The command ``annelid repeatability``: several scans of several parts."""

import argparse
from dataclasses import replace
from pathlib import Path

from annelid.cases.cli.argument_types import output_folder
from annelid.cases.cli.scan_arguments import UNITS, add_datum, add_state
from annelid.cases.run.minute_lines import MinuteLines

__all__ = ["REPEATABILITY_EXAMPLES", "add_repeatability_arguments", "repeatability_command"]

REPEATABILITY_EXAMPLES = """\
examples:
  annelid repeatability runs/cuff-0123abcd --list scans.csv --unit mm
  annelid repeatability runs/cuff-0123abcd --list scans.csv --study studies/cuff_tolerance
  annelid repeatability runs/cuff-0123abcd --list scans.csv --unit mm --by-hand callipers.csv

The list is a CSV file whose first line names its columns:
  scan      a file of a scan, or the folder of its comparison (annelid compare), relative to the list
  part      name of the part
  operator  who scanned it, or what else changes: day, scanner, preparation (optional)
  repeat    number of the repeated set-up (optional)
  unit      unit of the lengths in the scan, if --unit is not that of all (optional)
  points    file with named points of the scan, as for annelid compare --points (optional)
  method    one of two methods of measurement whose agreement is wanted (optional)
  note      anything (optional)

Measures by hand are a CSV file with the column part and columns of measures with their units, such as
mean diameter [mm]; several rows of a part are repeats.

The folder has a page (repeatability.html), the measures of each scan and their precision (CSV), mean, spread
and modes of variation on the simulated surface (VTP), the deviation of each scan there (Parquet) and a
summary (JSON).
"""


def add_repeatability_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid repeatability``."""
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    text = "the scans, one in each row, with the columns below"
    command.add_argument("--list", type=Path, required=True, metavar="CSV", help=text)
    text = f"unit of the lengths in scans whose row has none: {UNITS}"
    command.add_argument("--unit", default="", metavar="UNIT", help=text)
    add_state(command)
    add_datum(command)
    text = "a tolerance study of the part, whose spread is compared with the measured one"
    command.add_argument("--study", type=Path, metavar="FOLDER", help=text)
    text = "measures of the parts by hand (CSV), whose agreement with the scans is wanted"
    command.add_argument("--by-hand", type=Path, metavar="CSV", help=text)
    text = "folder to write to (default: RUNDIR/repeatability/LIST)"
    command.add_argument("--out", type=output_folder, metavar="DIR", help=text)


def repeatability_command(options: argparse.Namespace) -> int:
    """Analyse several scans of several parts.

    Raises:
        InputError: The run, the list, a scan or the study cannot be used.
    """
    from annelid.cases.run.environment import require_libraries
    from annelid.cases.studies.simulated_parts import simulated_parts
    from annelid.compare.comparison.simulated_part import ComparisonSettings
    from annelid.compare.page.write_spread import write_spread
    from annelid.compare.repeatability.listing import read_list

    require_libraries()
    entries = read_list(options.list, unit=options.unit)
    study = simulated_parts(options.study) if options.study else None
    settings = ComparisonSettings(options.unit or "mm", state=options.state, surface=options.surface)
    settings = replace(settings, alignment=replace(settings.alignment, datum=options.datum))
    with MinuteLines("comparing"):
        page, lines = write_spread(
            options.rundir,
            options.list,
            entries,
            settings,
            study=study,
            by_hand=options.by_hand,
            out=options.out,
        )
    print(*lines, f"written: {page}", sep="\n")
    return 0
