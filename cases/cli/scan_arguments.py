# SPDX-License-Identifier: MIT
"""Arguments that the commands for scans share."""

import argparse

from annelid.cases.cli.argument_types import state_number

__all__ = ["UNITS", "add_datum", "add_state"]

UNITS = "µm (um), mm, cm, in or m; it is never guessed"
"""Units of length that a scan may have, in words."""


def add_state(command: argparse.ArgumentParser) -> None:
    """Add ``--state``, a state of a run."""
    text = "number of the state of the run, from the end if negative, or last (default: last)"
    command.add_argument("--state", type=state_number, default=None, metavar="N", help=text)


def add_datum(command: argparse.ArgumentParser) -> None:
    """Add ``--surface`` and ``--datum``: what was scanned, and what fixes its pose."""
    text = "the simulated surface that was scanned (default: outer)"
    command.add_argument("--surface", choices=("outer", "lumen"), default="outer", help=text)
    text = "what the scan is aligned by: the surface, its two ends, or named points (default: surface)"
    command.add_argument("--datum", choices=("surface", "ends", "points"), default="surface", help=text)
