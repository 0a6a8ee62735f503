# SPDX-License-Identifier: MIT
"""A command of the command line."""

import argparse
from collections.abc import Callable

__all__ = ["PlainHelp", "Subparsers", "add_command"]


class PlainHelp(argparse.RawDescriptionHelpFormatter):
    """Help whose examples keep their lines."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=28, width=100)


type Subparsers = argparse._SubParsersAction[argparse.ArgumentParser]


def add_command(
    subparsers: Subparsers,
    name: str,
    action: Callable[[argparse.Namespace], int],
    text: str,
    examples: str = "",
) -> argparse.ArgumentParser:
    """Add a command.

    Args:
        subparsers: The commands.
        name: Its name.
        action: What it does; returns the exit code.
        text: Help of one line.
        examples: End of its help.
    """
    about = text[0].upper() + text[1:] + "."
    command = subparsers.add_parser(
        name, help=text, description=about, epilog=examples, formatter_class=PlainHelp
    )
    command.add_argument("--debug", action="store_true", help="print the traceback of an unexpected error")
    command.set_defaults(action=action)
    return command
