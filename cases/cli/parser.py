# SPDX-License-Identifier: MIT
"""The commands of the command line, their arguments and their help."""

import argparse
import sys

from annelid.cases.cli import commands
from annelid.cases.cli.argument_types import output_file
from annelid.cases.cli.case_arguments import add_case_commands
from annelid.cases.cli.comparing import COMPARE_EXAMPLES, add_compare_arguments, compare_command
from annelid.cases.cli.inventing import INVENT_EXAMPLES, add_invent_arguments, invent_command
from annelid.cases.cli.repeating import (
    REPEATABILITY_EXAMPLES,
    add_repeatability_arguments,
    repeatability_command,
)
from annelid.cases.cli.result_arguments import add_result_commands
from annelid.cases.cli.scanned_surface import SURFACE_EXAMPLES, add_surface_arguments, surface_command
from annelid.cases.cli.selfchecking import SELFCHECK_EXAMPLES, selfcheck_command
from annelid.cases.cli.subcommand import PlainHelp, Subparsers, add_command
from annelid.cases.cli.verifying import VERIFY_EXAMPLES, add_verify_arguments, verify_command

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
  annelid verify my_case.toml             find error bars of all reported quantities

exit codes:
  0    done, even if a load was not reached; the outcome states this
  1    no equilibrium was found, or the run failed: too little memory, a full disk, a rank that died
  2    the input is not valid, or a file cannot be read or written; nothing was written
  130  interrupted by Ctrl-C or SIGTERM
"""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    top = argparse.ArgumentParser(
        prog="annelid", description=_ABOUT, epilog=_EXAMPLES, formatter_class=PlainHelp
    )
    top.add_argument("--version", action=_Version, nargs=0, help="print the version and exit")
    command: type[argparse.ArgumentParser] = _Command
    subparsers = top.add_subparsers(title="commands", metavar="COMMAND", required=True, parser_class=command)
    add_case_commands(subparsers)
    add_result_commands(subparsers)
    _add_scans(subparsers)
    _add_study(subparsers)
    text = "find the error bars of a case from runs on finer meshes and with smaller steps"
    add_verify_arguments(add_command(subparsers, "verify", verify_command, text, VERIFY_EXAMPLES))
    text = "check this installation against published values, in about two minutes"
    add_command(subparsers, "selfcheck", selfcheck_command, text, SELFCHECK_EXAMPLES)
    _add_cells(subparsers)
    text = "print the JSON Schema of case files, for completion in editors"
    add_command(subparsers, "schema", commands.schema_command, text)
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


class _Version(argparse.Action):
    """Looks up the version only if it is requested."""

    def __call__(self, *_: object) -> None:
        from annelid.cases.run.environment import version

        print(f"annelid {version()}")
        sys.exit(0)


def _add_scans(subparsers: Subparsers) -> None:
    text = "compare scans of a part with a state of a run"
    add_compare_arguments(add_command(subparsers, "compare", compare_command, text, COMPARE_EXAMPLES))
    text = "find from repeated scans how alike parts are, and what repeats and operators add"
    add_repeatability_arguments(
        add_command(subparsers, "repeatability", repeatability_command, text, REPEATABILITY_EXAMPLES)
    )
    text = "invent a scan of a run, to try the comparison"
    add_invent_arguments(add_command(subparsers, "invent-scan", invent_command, text, INVENT_EXAMPLES))
    text = "make the measured surface of a case from a scan"
    add_surface_arguments(
        add_command(subparsers, "surface-from-scan", surface_command, text, SURFACE_EXAMPLES)
    )


def _add_study(subparsers: Subparsers) -> None:
    examples = (
        "examples:\n  annelid study                          list the library studies\n"
        "  annelid study my_study.toml --dry-run  list the runs and estimate the time\n"
        "  annelid study my_study.toml            start or continue the study; write its table and page\n\n"
        "Finished runs are not repeated. If you add a value, only the new runs are done.\n"
    )
    text = "run a parameter study: many cases, with one table and one page of results"
    command = add_command(subparsers, "study", commands.study_command, text, examples)
    from annelid.cases.cli.study_arguments import add_arguments

    add_arguments(command)


def _add_cells(subparsers: Subparsers) -> None:
    text = "list the kinds of lattice cells with their keys, and draw them if requested"
    command = add_command(subparsers, "cells", commands.cells_command, text)
    command.add_argument("--image", type=output_file, metavar="PNG", help="write a picture of all cells")


def _add_library(subparsers: Subparsers) -> None:
    text = "list the library cases, or print the file of one of them"
    command = add_command(subparsers, "library", commands.library_command, text)
    command.add_argument("name", nargs="?", metavar="NAME", help="print the file of this case")
