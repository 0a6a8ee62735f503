# SPDX-License-Identifier: MIT
"""The commands that read Run folders, with their arguments and help."""

from pathlib import Path

from annelid.cases.cli import commands
from annelid.cases.cli.argument_types import output_file, whole_number
from annelid.cases.cli.branching import add_branch_command
from annelid.cases.cli.subcommand import Subparsers, add_command

__all__ = ["add_result_commands"]


def add_result_commands(subparsers: Subparsers) -> None:
    """Add the commands, in the order of the help."""
    _add_report(subparsers)
    _add_view(subparsers)
    _add_animate(subparsers)
    add_branch_command(subparsers)


def _add_report(subparsers: Subparsers) -> None:
    text = "write the report of a Run folder again, and its files for ParaView and pyvista"
    command = add_command(subparsers, "report", commands.report_command, text)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")


def _add_view(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid view runs/cuff-0123abcd\n"
        '  annelid view runs/cuff-0123abcd --field "true field"\n'
        "  annelid view runs/cuff-0123abcd --state 3 --image third.png\n"
    )
    command = add_command(subparsers, "view", commands.view_command, "show a state of a run in 3-D", examples)
    command.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    command.add_argument(
        "--image", type=output_file, metavar="PNG", help="write a picture instead of opening a window"
    )
    text = "field shown by colours (default: largest principal stress)"
    command.add_argument("--field", default="largest principal stress", metavar="NAME", help=text)
    text = "number of the state; negative numbers count from the end (default: the last state)"
    command.add_argument("--state", type=int, default=None, metavar="NUMBER", help=text)


def _add_animate(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid animate runs/ureter_wave-0123abcd\n"
        '  annelid animate runs/ureter_wave-0123abcd --view 3d --field "true field"\n'
        "  annelid animate runs/ureter_wave-0123abcd --cycle all --out wave.mp4\n\n"
        "Frames are at equal steps of time, interpolated between computed states. They play in real time if\n"
        "that needs 5 to 30 frames a second. An MP4 file needs the package imageio-ffmpeg.\n"
    )
    text = "animate a run whose loads follow waves, as a GIF or MP4 file"
    command = add_command(subparsers, "animate", commands.animate_command, text, examples)
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
