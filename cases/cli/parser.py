# SPDX-License-Identifier: MIT
"""The commands of the command line, their arguments and their help."""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from annelid.cases.cli import commands
from annelid.cases.cli.argument_types import (
    element_size_factor,
    output_file,
    output_folder,
    stretch,
    whole_number,
)
from annelid.cases.cli.comparing import (
    COMPARE_EXAMPLES,
    INVENT_EXAMPLES,
    add_compare_arguments,
    add_invent_arguments,
    compare_command,
    invent_command,
)
from annelid.cases.cli.repeating import (
    REPEATABILITY_EXAMPLES,
    add_repeatability_arguments,
    repeatability_command,
)
from annelid.cases.cli.running import run_command
from annelid.cases.cli.scanned_surface import SURFACE_EXAMPLES, add_surface_arguments, surface_command

__all__ = ["parser"]

_ABOUT = """\
Design and check soft tubular dielectric-elastomer actuators. A case file describes a part (shape, layers,
materials, supports, pressure and voltage); a run computes its states and writes tables, fields and a report.
"""
_EXAMPLES = """\
examples:
  annelid library                         list the library cases
  annelid library cuff > my_cuff.toml     copy a library case
  annelid check my_cuff.toml              find errors, show the size of the mesh and estimate the time
  annelid run my_cuff.toml                run the case and print the path of its report
  annelid run my_cuff.toml --ranks 2      run it on two processors
  annelid view runs/my_cuff-0123abcd      show the result in a window
  annelid animate runs/my_wave-0123abcd   animate a run whose loads follow waves
  annelid compare runs/my_cuff-0123abcd part.ply --unit mm
                                          compare a scan of the part with the last state of a run
  annelid study my_study.toml             run a parameter study

exit codes:
  0    done, even if a load was not reached; the outcome states this
  1    no equilibrium was found, or the run failed: too little memory, a full disk, a rank that died
  2    the input is not valid, or a file cannot be read or written; nothing was written
  130  interrupted by Ctrl-C or SIGTERM
"""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = argparse.ArgumentParser(prog="annelid", description=_ABOUT, epilog=_EXAMPLES, formatter_class=_Raw)
    top.add_argument("--version", action=_Version, nargs=0, help="print the version and exit")
    command: type[argparse.ArgumentParser] = _Command
    subparsers = top.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=command)
    _add_check(subparsers)
    _add_run(subparsers)
    _add_mesh(subparsers)
    _add_print(subparsers)
    _add_sheet(subparsers)
    _add_cell(subparsers)
    _add_report(subparsers)
    _add_view(subparsers)
    _add_animate(subparsers)
    _add_scans(subparsers)
    _add_study(subparsers)
    _add_cells(subparsers)
    text = "print the JSON Schema of case files, for completion in editors"
    _add(subparsers, "schema", commands.schema_command, text)
    _add_library(subparsers)
    return top


class _Command(argparse.ArgumentParser):
    """A command whose options may stand before, between and after its other arguments."""

    _within = False

    def parse_known_args(self, args=None, namespace=None):  # type: ignore[no-untyped-def]
        if self._within:
            return super().parse_known_args(args, namespace)
        self._within = True
        try:
            return self.parse_known_intermixed_args(args, namespace)
        finally:
            self._within = False


class _Raw(argparse.RawDescriptionHelpFormatter):
    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=100)


class _Version(argparse.Action):
    """Looks up the version only if it is requested."""

    def __call__(self, *_: object) -> None:
        from annelid.cases.run.environment import version

        print(f"annelid {version()}")
        sys.exit(0)


type _Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]


def _add(
    subparsers: _Subparsers,
    name: str,
    action: Callable[[argparse.Namespace], int],
    text: str,
    examples: str = "",
) -> argparse.ArgumentParser:
    about = text[0].upper() + text[1:] + "."
    command = subparsers.add_parser(name, help=text, description=about, epilog=examples, formatter_class=_Raw)
    command.add_argument("--debug", action="store_true", help="print the traceback of an unexpected error")
    command.set_defaults(action=action)
    return command


def _add_case(command: argparse.ArgumentParser) -> None:
    command.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    command.add_argument(
        "--coarse",
        type=element_size_factor,
        default=1.0,
        metavar="FACTOR",
        help="multiply the element sizes by FACTOR, for a quick look (default: 1)",
    )


def _add_check(subparsers: _Subparsers) -> None:
    examples = "examples:\n  annelid check cuff\n  annelid check my_case.toml --coarse 2\n"
    text = (
        "check a case; print it with all defaults, its mesh quality, number of unknowns and expected run time"
    )
    _add_case(_add(subparsers, "check", commands.check_command, text, examples))


def _add_run(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid run cuff\n  annelid run my_case.toml results/first --ranks 2\n\n"
        "A finished run of the same case is not repeated. An unfinished run starts from the beginning.\n"
    )
    text = "run a case and write its report"
    command = _add(subparsers, "run", run_command, text, examples)
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


def _add_mesh(subparsers: _Subparsers) -> None:
    examples = "examples:\n  annelid mesh cuff\n  annelid mesh my_case.toml --out my_case.vtu\n"
    text = "write only the mesh of a case, and print its quality"
    command = _add(subparsers, "mesh", commands.mesh_command, text, examples)
    _add_case(command)
    text = "file to write, .msh or .vtu (default: CASE.msh)"
    command.add_argument("--out", type=output_file, metavar="FILE", help=text)


def _add_print(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid print my_case.toml\n  annelid print my_case.toml --out sheath\n\n"
        "The files are centre lines with surface normals (VTP, CSV), motion code (ISO 6983), the surface of\n"
        "the lattice (STL) and pictures of the lattice and of the tool path. Dry-run the program before you\n"
        "print anything.\n"
    )
    text = "write the files for printing the lattice of a case"
    command = _add(subparsers, "print", commands.print_command, text, examples)
    command.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    command.add_argument(
        "--out", type=output_folder, metavar="FOLDER", help="folder to write to (default: prints/CASE)"
    )
    command.set_defaults(coarse=1)


def _add_sheet(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid sheet my_case.toml\n  annelid sheet runs/my_case-0123abcd\n"
        "  annelid sheet my_case.toml --run runs/my_case-0123abcd\n\n"
        "The folder contains a page for printing (fabrication.html), the layers (CSV), the masks of the\n"
        "electrodes and the blanks (SVG, DXF) and the moulds (STEP, STL, CSV). Sizes follow from the case;\n"
        "pressures and volumes of the making, charge and energy from its run. The settings of the workshop\n"
        "are the table [fabrication] of the case.\n"
    )
    text = "write the fabrication sheet of a case or a run: what to cast, cut, print and connect"
    command = _add(subparsers, "sheet", commands.sheet_command, text, examples)
    command.add_argument(
        "source", metavar="CASE_OR_RUNDIR", help="a case file, the name of a library case, or a Run folder"
    )
    text = "a run of the case; so that [fabrication] can be changed after the run"
    command.add_argument("--run", type=Path, metavar="RUNDIR", help=text)
    text = "folder to write to (default: sheets/CASE, or RUNDIR/fabrication)"
    command.add_argument("--out", type=output_folder, metavar="FOLDER", help=text)


def _add_cells(subparsers: _Subparsers) -> None:
    text = "list the kinds of lattice cells with their keys, and draw them if requested"
    command = _add(subparsers, "cells", commands.cells_command, text)
    command.add_argument("--image", type=output_file, metavar="PNG", help="write a picture of all cells")


def _add_cell(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid cell lattice_balloon\n  annelid cell my_case.toml --to 0.7 --steps 30\n\n"
        "The files are moduli.csv, collapse.csv and cell.png. The cell is flat, as drawn in the case.\n"
    )
    text = "compute effective moduli and collapse curves of the lattice cell of a case"
    command = _add(subparsers, "cell", commands.cell_command, text, examples)
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


def _add_report(subparsers: _Subparsers) -> None:
    text = "write the report of a Run folder again, and its files for ParaView and pyvista"
    command = _add(subparsers, "report", commands.report_command, text)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")


def _add_view(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid view runs/cuff-0123abcd\n"
        '  annelid view runs/cuff-0123abcd --field "true field"\n'
        "  annelid view runs/cuff-0123abcd --state 3 --image third.png\n"
    )
    command = _add(subparsers, "view", commands.view_command, "show a state of a run in 3-D", examples)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    command.add_argument(
        "--image", type=output_file, metavar="PNG", help="write a picture instead of opening a window"
    )
    text = "field shown by colours (default: largest principal stress)"
    command.add_argument("--field", default="largest principal stress", metavar="NAME", help=text)
    text = "number of the state; negative numbers count from the end (default: the last state)"
    command.add_argument("--state", type=int, default=None, metavar="NUMBER", help=text)


def _add_animate(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid animate runs/ureter_wave-0123abcd\n"
        '  annelid animate runs/ureter_wave-0123abcd --view 3d --field "true field"\n'
        "  annelid animate runs/ureter_wave-0123abcd --cycle all --out wave.mp4\n\n"
        "Frames are at equal steps of time, interpolated between computed states. They play in real time if\n"
        "that needs 5 to 30 frames a second. An MP4 file needs the package imageio-ffmpeg.\n"
    )
    text = "animate a run whose loads follow waves, as a GIF or MP4 file"
    command = _add(subparsers, "animate", commands.animate_command, text, examples)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    text = "the wall in a section through the axis, or the cut-open part in 3-D (default: section)"
    command.add_argument("--view", choices=("section", "3d"), default="section", help=text)
    text = "the last whole cycle as a loop, or the whole time (default: the cycle if there is one)"
    command.add_argument("--cycle", choices=("last", "all"), help=text)
    text = "field shown by colours, as in show/ (default: the voltage of the electrodes)"
    command.add_argument("--field", metavar="NAME", help=text)
    text = "number of frames, 2 to 1000 (default: that of the computed steps, or a multiple of it)"
    command.add_argument("--frames", type=whole_number, metavar="N", help=text)
    text = "angle of the section of a 3-D model around the axis, degrees (default: 0)"
    command.add_argument("--angle", type=float, metavar="DEG", help=text)
    text = "new file, .gif or .mp4 (default: section.gif or 3d.gif in RUNDIR)"
    command.add_argument("--out", type=output_file, metavar="FILE", help=text)


def _add_scans(subparsers: _Subparsers) -> None:
    text = "compare scans of a part with a state of a run"
    add_compare_arguments(_add(subparsers, "compare", compare_command, text, COMPARE_EXAMPLES))
    text = "find from repeated scans how alike parts are, and what repeats and operators add"
    add_repeatability_arguments(
        _add(subparsers, "repeatability", repeatability_command, text, REPEATABILITY_EXAMPLES)
    )
    text = "invent a scan of a run, to try the comparison"
    add_invent_arguments(_add(subparsers, "invent-scan", invent_command, text, INVENT_EXAMPLES))
    text = "make the measured surface of a case from a scan"
    add_surface_arguments(_add(subparsers, "surface-from-scan", surface_command, text, SURFACE_EXAMPLES))


def _add_study(subparsers: _Subparsers) -> None:
    examples = (
        "examples:\n  annelid study                          list the library studies\n"
        "  annelid study my_study.toml --dry-run  list the runs and estimate the time\n"
        "  annelid study my_study.toml            start or continue the study; write its table and page\n\n"
        "Finished runs are not repeated. If you add a value, only the new runs are done.\n"
    )
    text = "run a parameter study: many cases, with one table and one page of results"
    command = _add(subparsers, "study", commands.study_command, text, examples)
    from annelid.cases.cli.study_arguments import add_arguments

    add_arguments(command)


def _add_library(subparsers: _Subparsers) -> None:
    text = "list the library cases, or print the file of one of them"
    command = _add(subparsers, "library", commands.library_command, text)
    command.add_argument("name", nargs="?", metavar="NAME", help="print the file of this case")
