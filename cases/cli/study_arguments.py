# SPDX-License-Identifier: MIT
"""Arguments of ``annelid study``.

This module has no slow imports, because every command builds the whole parser.
"""

import argparse
from pathlib import Path

from annelid.cases.cli.argument_types import quantity, whole_number

__all__ = ["add_arguments"]


def add_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid study``."""
    text = "a study file, the name of a library study, or a study folder"
    command.add_argument("study", nargs="?", metavar="STUDY", help=text)
    command.add_argument(
        "--out", type=Path, metavar="FOLDER", help="the study folder (default: studies/STUDY)"
    )
    action = command.add_mutually_exclusive_group()
    text = "list the runs with their sizes and estimate the time"
    action.add_argument("--dry-run", action="store_true", help=text)
    action.add_argument("--status", action="store_true", help="print the states of the runs")
    text = "write the tables and the page without doing any runs"
    action.add_argument("--collect", action="store_true", help=text)
    text = "cancel the jobs of the study on a cluster"
    action.add_argument("--cancel", action="store_true", help=text)
    text = "do only this run, in this process; give its id, the beginning of its id, or # and its number"
    action.add_argument("--only", metavar="RUN", help=text)
    text = "number of parallel runs (default: one per processor)"
    command.add_argument("--workers", type=whole_number, default=0, metavar="N", help=text)
    command.add_argument("--retry", action="store_true", help="repeat failed runs")
    text = 'time limit of each run, such as "10 min"'
    command.add_argument(
        "--time-limit", type=quantity("s", "a time", "10 min", above=0.0), metavar="TIME", help=text
    )
    text = 'memory limit of each run, such as "2 GB"'
    command.add_argument(
        "--memory-limit",
        type=quantity("megabyte", "an amount of memory", "2 GB", above=0.0),
        metavar="MEMORY",
        help=text,
    )
    text = (
        "submit the missing runs to Slurm instead of doing them here; with --dry-run only write the scripts"
    )
    command.add_argument("--slurm", action="store_true", help=text)
    text = "site file with the settings of the cluster (default: the file that ANNELID_SITE names)"
    command.add_argument("--site", type=Path, metavar="FILE", help=text)
    command.add_argument("--expect-ranks", type=whole_number, help=argparse.SUPPRESS)
