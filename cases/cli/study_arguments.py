# SPDX-License-Identifier: MIT
"""What ``annelid study`` takes on its command line; light, since every command builds the whole parser."""

import argparse
from collections.abc import Callable
from pathlib import Path

__all__ = ["add_arguments"]


def add_arguments(task: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    text = "a study file, the name of a library study, or a study folder"
    task.add_argument("study", nargs="?", metavar="STUDY", help=text)
    task.add_argument("--out", type=Path, metavar="FOLDER", help="the study folder (default studies/STUDY)")
    what = task.add_mutually_exclusive_group()
    text = "list the runs, their sizes and the time they will take"
    what.add_argument("--dry-run", action="store_true", help=text)
    what.add_argument("--status", action="store_true", help="say how far the runs are, from their folders")
    text = "write tables and page from what is there, run nothing"
    what.add_argument("--collect", action="store_true", help=text)
    text = "take what was handed to a cluster out of its queue"
    what.add_argument("--cancel", action="store_true", help=text)
    text = "do this one run in this process: its id, the beginning of it, or # and its number"
    what.add_argument("--only", metavar="RUN", help=text)
    text = "runs at a time (default: one a processor)"
    task.add_argument("--workers", type=_count, default=0, metavar="N", help=text)
    task.add_argument("--retry", action="store_true", help="try failed runs again")
    text = 'time that one run may take, such as "10 min"'
    task.add_argument("--time-limit", type=_quantity("s"), metavar="TIME", help=text)
    text = 'memory that one run may take, such as "2 GB"'
    task.add_argument("--memory-limit", type=_quantity("megabyte"), metavar="MEMORY", help=text)
    text = "hand what is missing to Slurm instead of running it here; with --dry-run write the scripts alone"
    task.add_argument("--slurm", action="store_true", help=text)
    text = "what the cluster wants to be told (default: the file that ANNELID_SITE names)"
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
