# SPDX-License-Identifier: MIT
"""The command that invents the scan of a run."""

import argparse
from pathlib import Path

from annelid.cases.cli.argument_types import output_file
from annelid.cases.cli.scan_arguments import add_state
from annelid.geometry.errors import InputError

__all__ = ["INVENT_EXAMPLES", "add_invent_arguments", "invent_command"]

INVENT_EXAMPLES = """\
examples:
  annelid invent-scan runs/cuff-0123abcd
  annelid invent-scan runs/cuff-0123abcd --seed 3 --out invented_3.ply

The scan has noise, outliers, a ghost of the part and holes, and an arbitrary pose. Files beside it contain
the truth about it. Name and header say that it is invented.
"""
_INVENTED = "invented"


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
        text = f'must contain "{_INVENTED}", so that the scan is not taken for a measurement'
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


def _seed(text: str) -> int:
    if not text.isdigit() or int(text) >= 2**63:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of 0 or more')
    return int(text)
