# SPDX-License-Identifier: MIT
"""The commands of the command line, their arguments and their help."""

import argparse
import sys
from collections.abc import Callable
from pathlib import Path

from annelid.cases.cli import commands

__all__ = ["parser"]

_ABOUT = """\
Design and check soft tubular dielectric-elastomer actuators: from a case file (shape, layers, materials,
supports, pressure and voltage) to numbers, fields and a report.
"""
_EXAMPLES = """\
examples:
  annelid library                         list the cases that come with the program
  annelid library cuff > my_cuff.toml     take one as a start
  annelid check my_cuff.toml              is it right, how large is it, how long will it take?
  annelid run my_cuff.toml                run it; says where the report is
  annelid run my_cuff.toml --ranks 2      the same on two processors
  annelid view runs/my_cuff-0123abcd      turn the result in a window
  annelid study my_study.toml             run what varies; one table, one page

exit codes: 0 done (also when a load was not reached: the outcome says so), 1 no equilibrium at all,
2 the input is wrong and nothing was written, 130 interrupted.
"""


def parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    top = argparse.ArgumentParser(prog="annelid", description=_ABOUT, epilog=_EXAMPLES, formatter_class=_Raw)
    top.add_argument("--version", action=_Version, nargs=0, help="print the version and exit")
    tasks = top.add_subparsers(title="commands", metavar="COMMAND", required=True)
    _check(tasks)
    _run(tasks)
    _mesh(tasks)
    _print(tasks)
    _cell(tasks)
    _report(tasks)
    _view(tasks)
    _study(tasks)
    _cells(tasks)
    _add(tasks, "schema", commands.schema, "print the JSON Schema of case files, for completion in editors")
    library = _add(
        tasks, "library", commands.library, "list the cases that come with the program, or print one"
    )
    library.add_argument("name", nargs="?", help="print the file of this case")
    return top


class _Raw(argparse.RawDescriptionHelpFormatter):
    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=100)


class _Version(argparse.Action):
    """Looks the version up only when asked for it."""

    def __call__(self, *_: object) -> None:
        from annelid.cases.run.environment import version

        print(f"annelid {version()}")
        sys.exit(0)


type _Tasks = argparse._SubParsersAction[argparse.ArgumentParser]


def _add(
    tasks: _Tasks, name: str, action: Callable[[argparse.Namespace], int], text: str, examples: str = ""
) -> argparse.ArgumentParser:
    about = text[0].upper() + text[1:] + "."
    task = tasks.add_parser(name, help=text, description=about, epilog=examples, formatter_class=_Raw)
    task.add_argument("--debug", action="store_true", help="show where an unexpected error came from")
    task.set_defaults(action=action)
    return task


def _case(task: argparse.ArgumentParser) -> None:
    task.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    task.add_argument(
        "--coarse",
        type=_factor,
        default=1.0,
        metavar="FACTOR",
        help="elements so many times as long, for a quick look (default 1)",
    )


def _check(tasks: _Tasks) -> None:
    examples = "examples:\n  annelid check cuff\n  annelid check my_case.toml --coarse 2\n"
    text = "validate a case; print it resolved, with mesh quality, unknowns and expected time"
    _case(_add(tasks, "check", commands.check, text, examples))


def _run(tasks: _Tasks) -> None:
    examples = (
        "examples:\n  annelid run cuff\n  annelid run my_case.toml results/first --ranks 2\n\n"
        "A finished run of the same case is not run again; an unfinished one starts anew.\n"
    )
    task = _add(tasks, "run", commands.run, "run a case and make its report", examples)
    _case(task)
    task.add_argument(
        "rundir",
        nargs="?",
        type=Path,
        metavar="RUNDIR",
        help="the Run folder; by default runs/CASE-HASH, where HASH tells cases apart",
    )
    task.add_argument("--ranks", type=_count, default=1, metavar="N", help="processors to use (default 1)")
    task.add_argument("--again", action="store_true", help="run even if the finished run is there")
    task.add_argument(
        "--no-report", action="store_true", help="leave out the report; `annelid report` makes it"
    )
    task.add_argument("--expect-ranks", type=int, help=argparse.SUPPRESS)


def _mesh(tasks: _Tasks) -> None:
    examples = "examples:\n  annelid mesh cuff\n  annelid mesh my_case.toml --out my_case.vtu\n"
    task = _add(tasks, "mesh", commands.mesh, "write the mesh of a case alone, with its quality", examples)
    _case(task)
    text = "file to write, .msh or .vtu (default CASE.msh)"
    task.add_argument("--out", type=Path, metavar="FILE", help=text)


def _print(tasks: _Tasks) -> None:
    examples = (
        "examples:\n  annelid print my_case.toml\n  annelid print my_case.toml --out sheath\n\n"
        "Writes centre lines with normals (VTP, CSV), motion code (ISO 6983), the lattice's surface (STL)\n"
        "and pictures of the lattice and of the tool path. Dry-run the program before anything is printed.\n"
    )
    task = _add(tasks, "print", commands.print_lattice, "write what prints the lattice of a case", examples)
    task.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    task.add_argument("--out", type=Path, metavar="FOLDER", help="where to (default prints/CASE)")
    task.set_defaults(coarse=1)


def _cells(tasks: _Tasks) -> None:
    task = _add(
        tasks, "cells", commands.cells, "list the kinds of lattice cells with their keys, or draw them"
    )
    task.add_argument("--image", type=Path, metavar="PNG", help="write a picture of all cells")


def _cell(tasks: _Tasks) -> None:
    examples = (
        "examples:\n  annelid cell lattice_balloon\n  annelid cell my_case.toml --to 0.7 --steps 30\n\n"
        "Writes moduli.csv, collapse.csv and cell.png. The cell is taken flat, as drawn in the case.\n"
    )
    text = "effective moduli and collapse curves of the lattice cell of a case"
    task = _add(tasks, "cell", commands.cell, text, examples)
    _case(task)
    task.add_argument("--out", type=Path, metavar="FOLDER", help="folder to write to (default CASE-cell)")
    text = "mean stretch up to which the cell is pulled (below 1: pressed) along either axis"
    task.add_argument("--to", type=_stretch, metavar="STRETCH", help=text)
    text = "wanted number of steps of a collapse curve (default 20)"
    task.add_argument("--steps", type=_count, default=20, metavar="N", help=text)


def _report(tasks: _Tasks) -> None:
    task = _add(tasks, "report", commands.report, "make the report of a Run folder again")
    task.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")


def _view(tasks: _Tasks) -> None:
    examples = (
        "examples:\n  annelid view runs/cuff-0123abcd\n"
        '  annelid view runs/cuff-0123abcd --field "true field"\n'
        "  annelid view runs/cuff-0123abcd --state 3 --image third.png\n"
    )
    task = _add(tasks, "view", commands.view, "show a state of a run in 3-D", examples)
    task.add_argument("rundir", type=Path, metavar="RUNDIR", help="a Run folder")
    task.add_argument("--image", type=Path, metavar="PNG", help="write a picture instead of opening a window")
    text = "what to colour by (default: largest principal stress)"
    task.add_argument("--field", default="largest principal stress", metavar="NAME", help=text)
    text = "number of the state; from the end when negative (default: the last)"
    task.add_argument("--state", type=int, default=None, metavar="NUMBER", help=text)


def _study(tasks: _Tasks) -> None:
    examples = (
        "examples:\n  annelid study                          list the library studies\n"
        "  annelid study my_study.toml --dry-run  list the runs and estimate the time\n"
        "  annelid study my_study.toml            start or continue the study; write its table and page\n\n"
        "Finished runs are not repeated. If you add a value, only the new runs are done.\n"
    )
    text = "run a parameter study: many cases, with one table and one page of results"
    task = _add(tasks, "study", commands.study, text, examples)
    from annelid.cases.cli.study_arguments import add_arguments

    add_arguments(task)


def _count(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of 1 or more')
    return int(text)


def _stretch(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < 10 or value == 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a stretch between 0 and 10 other than 1')
    return value


def _factor(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 1 <= value <= 100:
        raise argparse.ArgumentTypeError(f'"{text}" is not a number from 1 to 100')
    return value
