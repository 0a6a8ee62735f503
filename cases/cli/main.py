# SPDX-License-Identifier: MIT
"""The command line: ``annelid COMMAND``, or ``python -m annelid COMMAND``."""

import os
import sys
import time
import traceback
from collections.abc import Sequence

from annelid.cases.cli.parser import parser
from annelid.geometry.errors import AnnelidError, InputError

__all__ = ["main"]

INPUT, UNEXPECTED, INTERRUPTED = 2, 1, 130
_FIRST_SPEAKS, _HEARD = 2.0, 0.5  # s; a launcher that aborts at once was seen to lose the last words
_INTERRUPTED = "interrupted; a Run folder that was begun says unfinished, the same command starts it anew"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code."""
    options = parser().parse_args(arguments)
    try:
        code = options.action(options)
    except InputError as error:
        code = _complain(error.message, INPUT)
    except AnnelidError as error:
        code = _complain(error.message, UNEXPECTED)
    except KeyboardInterrupt:
        if getattr(options, "expect_ranks", None):
            os._exit(INTERRUPTED)  # one of several ranks: the process that started them speaks
        code = _complain(_INTERRUPTED, INTERRUPTED)
    except BrokenPipeError:  # the reader of a pipe, such as head, has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = 0
    except Exception as error:
        if options.debug:
            traceback.print_exc()
        notes = " ".join(getattr(error, "__notes__", ["--debug shows where it came from"]))
        code = _complain(f"unexpected error: {type(error).__name__}: {error}. {notes}", UNEXPECTED)
    return _leave(code)


def _complain(text: str, code: int) -> int:
    """Say what is wrong; of several ranks that say the same the first speaks and ends the others."""
    mpi = sys.modules.get("mpi4py.MPI")
    if mpi is not None and mpi.COMM_WORLD.rank > 0:
        time.sleep(_FIRST_SPEAKS)
    print(f"annelid: {text}", file=sys.stderr)
    return code


def _leave(code: int) -> int:
    """End all ranks with the same code: one that left alone would keep the others waiting."""
    mpi = sys.modules.get("mpi4py.MPI")
    if code and mpi is not None and mpi.COMM_WORLD.size > 1:
        sys.stderr.flush()
        time.sleep(_HEARD)
        mpi.COMM_WORLD.Abort(code)
    return code


if __name__ == "__main__":
    sys.exit(main())
