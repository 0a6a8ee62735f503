# SPDX-License-Identifier: MIT
"""Arguments of ``annelid study``; without heavy imports, since every command builds the whole parser."""

import argparse
from collections.abc import Callable
from pathlib import Path

__all__ = ["add_arguments"]


def add_arguments(task: argparse.ArgumentParser) -> None:
    """Add the arguments of the command."""
    text = "a study file, the name of a library study, or a study folder"
    task.add_argument("study", nargs="?", metavar="STUDY", help=text)
    task.add_argument("--out", type=Path, metavar="FOLDER", help="the study folder (default: studies/STUDY)")
    action = task.add_mutually_exclusive_group()
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
    task.add_argument("--workers", type=_count, default=0, metavar="N", help=text)
    task.add_argument("--retry", action="store_true", help="repeat failed runs")
    text = 'time limit of each run, such as "10 min"'
    task.add_argument("--time-limit", type=_quantity("s"), metavar="TIME", help=text)
    text = 'memory limit of each run, such as "2 GB"'
    task.add_argument("--memory-limit", type=_quantity("megabyte"), metavar="MEMORY", help=text)
    text = (
        "submit the missing runs to Slurm instead of doing them here; with --dry-run only write the scripts"
    )
    task.add_argument("--slurm", action="store_true", help=text)
    text = "site file with the settings of the cluster (default: the file that ANNELID_SITE names)"
    task.add_argument("--site", type=Path, metavar="FILE", help=text)
    task.add_argument("--expect-ranks", type=_count, help=argparse.SUPPRESS)


def _count(text: str) -> int:
    if not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f'"{text}" is not a whole number of 1 or more')
    return int(text)


def _quantity(unit: str) -> Callable[[str], float]:
    def read(text: str) -> float:
        from annelid.cases.schema.units import UnitError, parse

        try:
            value = parse(text, unit)
        except UnitError as error:
            raise argparse.ArgumentTypeError(str(error)) from None
        if value <= 0:
            raise argparse.ArgumentTypeError(f'"{text}" must be above zero')
        return value

    return read
