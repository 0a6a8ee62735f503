# SPDX-License-Identifier: MIT
"""The commands that read cases, with their arguments and help."""

import argparse
from pathlib import Path

from annelid.cases.cli import commands
from annelid.cases.cli.argument_types import (
    element_size_factor,
    output_file,
    output_folder,
    stretch,
    whole_number,
)
from annelid.cases.cli.running import run_command
from annelid.cases.cli.subcommand import Subparsers, add_command

__all__ = ["add_case_commands"]


def add_case_commands(subparsers: Subparsers) -> None:
    """Add the commands, in the order of the help."""
    _add_check(subparsers)
    _add_run(subparsers)
    _add_mesh(subparsers)
    _add_print(subparsers)
    _add_sheet(subparsers)
    _add_cell(subparsers)


def _add_case(command: argparse.ArgumentParser) -> None:
    command.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    command.add_argument(
        "--coarse",
        type=element_size_factor,
        default=1.0,
        metavar="FACTOR",
        help="multiply the element sizes by FACTOR, for a quick look (default: 1)",
    )


def _add_check(subparsers: Subparsers) -> None:
    examples = "examples:\n  annelid check cuff\n  annelid check my_case.toml --coarse 2\n"
    text = (
        "check a case; print it with all defaults, its mesh quality, number of unknowns and expected run time"
    )
    _add_case(add_command(subparsers, "check", commands.check_command, text, examples))


def _add_run(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid run cuff\n  annelid run my_case.toml results/first --ranks 2\n\n"
        "A finished run of the same case is not repeated. An unfinished run starts from the beginning.\n"
    )
    text = "run a case and write its report"
    command = add_command(subparsers, "run", run_command, text, examples)
    _add_case(command)
    command.add_argument(
        "rundir",
        nargs="?",
        type=Path,
        metavar="RUNDIR",
        help="the Run folder (default: runs/CASE-HASH, where HASH identifies the resolved case)",
    )
    command.add_argument(
        "--ranks", type=whole_number, default=1, metavar="N", help="number of processors (default: 1)"
    )
    command.add_argument("--again", action="store_true", help="repeat a finished run")
    text = "do not write the report; `annelid report` can write it later"
    command.add_argument("--no-report", action="store_true", help=text)
    command.add_argument("--no-surfaces", action="store_true", help=argparse.SUPPRESS)
    command.add_argument("--expect-ranks", type=int, help=argparse.SUPPRESS)


def _add_mesh(subparsers: Subparsers) -> None:
    examples = "examples:\n  annelid mesh cuff\n  annelid mesh my_case.toml --out my_case.vtu\n"
    text = "write only the mesh of a case, and print its quality"
    command = add_command(subparsers, "mesh", commands.mesh_command, text, examples)
    _add_case(command)
    text = "file to write, .msh or .vtu (default: CASE.msh)"
    command.add_argument("--out", type=output_file, metavar="FILE", help=text)


def _add_print(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid print my_case.toml\n  annelid print my_case.toml --out sheath\n\n"
        "The files are centre lines with surface normals (VTP, CSV), motion code (ISO 6983), the surface of\n"
        "the lattice (STL) and pictures of the lattice and of the tool path. Dry-run the program before you\n"
        "print anything.\n"
    )
    text = "write the files for printing the lattice of a case"
    command = add_command(subparsers, "print", commands.print_command, text, examples)
    command.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    command.add_argument(
        "--out", type=output_folder, metavar="FOLDER", help="folder to write to (default: prints/CASE)"
    )
    command.set_defaults(coarse=1)


def _add_sheet(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid sheet my_case.toml\n  annelid sheet runs/my_case-0123abcd\n"
        "  annelid sheet my_case.toml --run runs/my_case-0123abcd\n\n"
        "The folder contains a page for printing (fabrication.html), the layers (CSV), the masks of the\n"
        "electrodes and the blanks (SVG, DXF) and the moulds (STEP, STL, CSV). Sizes follow from the case;\n"
        "pressures and volumes of the making, charge and energy from its run. The settings of the workshop\n"
        "are the table [fabrication] of the case.\n"
    )
    text = "write the fabrication sheet of a case or a run: what to cast, cut, print and connect"
    command = add_command(subparsers, "sheet", commands.sheet_command, text, examples)
    command.add_argument(
        "source", metavar="CASE_OR_RUNDIR", help="a case file, the name of a library case, or a Run folder"
    )
    text = "a run of the case; so that [fabrication] can be changed after the run"
    command.add_argument("--run", type=Path, metavar="RUNDIR", help=text)
    text = "folder to write to (default: sheets/CASE, or RUNDIR/fabrication)"
    command.add_argument("--out", type=output_folder, metavar="FOLDER", help=text)


def _add_cell(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid cell lattice_balloon\n  annelid cell my_case.toml --to 0.7 --steps 30\n\n"
        "The files are moduli.csv, collapse.csv and cell.png. The cell is flat, as drawn in the case.\n"
    )
    text = "compute effective moduli and collapse curves of the lattice cell of a case"
    command = add_command(subparsers, "cell", commands.cell_command, text, examples)
    _add_case(command)
    command.add_argument(
        "--out", type=output_folder, metavar="FOLDER", help="folder to write to (default: CASE-cell)"
    )
    text = (
        "mean stretch up to which the cell is loaded along each axis; below 1 it is compressed (default: "
        "compute only the moduli)"
    )
    command.add_argument("--to", type=stretch, metavar="STRETCH", help=text)
    text = "number of steps of a collapse curve; they are halved where no state is found (default: 20)"
    command.add_argument("--steps", type=whole_number, default=20, metavar="N", help=text)
