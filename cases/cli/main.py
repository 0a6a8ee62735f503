# SPDX-License-Identifier: MIT
"""The command line: ``annelid COMMAND``, or ``python -m annelid COMMAND``."""

import argparse
import contextlib
import os
import signal
import sys
import time
import traceback
from collections.abc import Sequence

from annelid.cases.cli.parser import parser
from annelid.cases.run.environment import prepare
from annelid.cases.run.interrupts import INTERRUPTED, end_with_parent, stoppable
from annelid.geometry.errors import AnnelidError, InputError
from annelid.geometry.writing import system_error

__all__ = ["main"]

INPUT, UNEXPECTED = 2, 1
_OTHER_RANKS_DELAY = 2.0  # s
_ABORT_DELAY = 0.5  # s; a launcher that aborted at once was seen to lose the last lines of the error stream


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    options, is_rank = argparse.Namespace(debug=False), False
    prepare()  # before anything imports the numerical libraries
    try:
        _check_encoding(sys.argv[1:] if arguments is None else arguments)
        parser().parse_args(arguments, options)
        is_rank = bool(getattr(options, "expect_ranks", None))
        if is_rank:  # the process that started the ranks prints the message
            end_with_parent(signal.SIGKILL)
        with contextlib.nullcontext() if is_rank else stoppable():
            code = options.action(options)
        sys.stdout.flush()
    except InputError as error:
        code = _print_error(error.message, INPUT)
    except AnnelidError as error:
        code = _print_error(error.message, UNEXPECTED)
    except KeyboardInterrupt as error:
        if is_rank:
            os._exit(INTERRUPTED)
        code = _print_error(str(error) or "interrupted", INTERRUPTED)
    except BrokenPipeError:  # the reader of a pipe, such as head, has closed it
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except OSError as error:
        if options.debug:
            traceback.print_exc()
        shown = system_error(error)
        code = _print_error(shown.message, INPUT if isinstance(shown, InputError) else UNEXPECTED)
    except MemoryError as error:
        text = f"memory ran out: {error or 'an array could not be created'}"
        code = _print_error(f"{text}; use larger elements, more ranks or another machine", UNEXPECTED)
    except Exception as error:
        if options.debug:
            traceback.print_exc()
        notes = " ".join(getattr(error, "__notes__", ["--debug prints the traceback"]))
        code = _print_error(f"unexpected error: {type(error).__name__}: {error}. {notes}", UNEXPECTED)
    return _end_ranks(code)


def _check_encoding(arguments: Sequence[str]) -> None:
    """Refuse names that are not UTF-8, which the solver and JSON files cannot contain."""
    for word in arguments:
        try:
            word.encode()
        except UnicodeEncodeError:
            raise InputError(f"{word!a}: is not UTF-8; rename the file or the folder", key=word) from None


def _print_error(text: str, code: int) -> int:
    """Print an error and return the code; other ranks wait, so that the first prints and ends them."""
    mpi = sys.modules.get("mpi4py.MPI")
    if mpi is not None and mpi.COMM_WORLD.rank > 0:
        time.sleep(_OTHER_RANKS_DELAY)
    print(f"annelid: {text}", file=sys.stderr)
    return code


def _end_ranks(code: int) -> int:
    """End all ranks with the same code, because others would wait for a rank that ended alone."""
    mpi = sys.modules.get("mpi4py.MPI")
    if code and mpi is not None and mpi.COMM_WORLD.size > 1:
        sys.stderr.flush()
        time.sleep(_ABORT_DELAY)
        mpi.COMM_WORLD.Abort(code)
    return code


if __name__ == "__main__":
    sys.exit(main())
