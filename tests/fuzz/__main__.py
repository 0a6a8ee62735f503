# SPDX-License-Identifier: MIT
"""Reads mutants of input files and Run folders with the command line, and reports every failure.

    .venv/bin/python tests/fuzz --mutants 10000 --seed 1
    .venv/bin/python tests/fuzz --seed 1 --only 4711      # one mutant, with the output of its command

A mutant must end with exit code 0 or 2, without a traceback and within 20 s of computing; with code 2 it must
leave the folder unchanged. Each is read in a child process, to find crashes and hangs of libraries as well.
"""

import argparse
import importlib
import os
import resource
import signal
import sys
import tempfile
import warnings
from pathlib import Path

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS / name) for name in ("", "results", "cases/studies", "fuzz")]
LIMIT, WAITING = 20, 300  # s of computing and in all, for each mutant; other processes may slow it down
MEMORY = 8 * 2**30  # bytes
LIBRARIES = (
    *(
        "gmsh",
        "pyvista.plotting",
        "matplotlib.pyplot",
        "jinja2",
        "PIL.Image",
        "pint",
        "scipy.stats",
        "scipy.interpolate",
    ),
    *("annelid.solver.constraints.stage_checks", "annelid.results.report.report", "annelid.cases.run.check"),
    *("annelid.results.views.state_pictures", "annelid.cases.cli.study"),
)
WRONG = ("Traceback", "unexpected error", "Error:")


def main():
    parser = argparse.ArgumentParser(description="Read mutants of input files.")
    parser.add_argument("--mutants", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    options = parser.parse_args()
    warnings.simplefilter("ignore", DeprecationWarning)  # of forking: the libraries have no threads yet
    for name in LIBRARIES:  # once, and not in every child
        importlib.import_module(name)
    from mutants import Mutants

    from annelid.cases.cli.main import main as command

    failures = 0
    with tempfile.TemporaryDirectory() as models:
        mutants = Mutants(options.seed, Path(models))
        for number in range(options.mutants) if options.only is None else [options.only]:
            with tempfile.TemporaryDirectory() as place:
                arguments = mutants.make(number, Path(place))
                if options.only is not None:
                    arguments.append("--debug")
                problem, text = attempt(command, arguments, Path(place))
            if problem or options.only is not None:
                failures += bool(problem)
                print(
                    f"mutant {number}, {' '.join(arguments)}: {problem or 'no problem'}\n{text}", flush=True
                )
    print(f"{failures} failures in {options.mutants} mutants of seed {options.seed}")
    return bool(failures)


def attempt(command, arguments, folder):
    """Run a command on a mutant in a child process; return what is wrong, or "", and the output."""
    before = listing(folder)
    with tempfile.TemporaryFile() as output:
        child = os.fork()
        if not child:
            run_and_exit(command, arguments, folder, output)
        _, status = os.waitpid(child, 0)
        output.seek(0)
        text = output.read().decode(errors="replace")
    if os.WIFSIGNALED(status):
        name = signal.Signals(os.WTERMSIG(status)).name
        return f"hangs: {name}" if name in ("SIGXCPU", "SIGALRM") else f"crashes with {name}", text
    code = os.WEXITSTATUS(status)
    if code not in (0, 2):
        return f"exit code {code}", text
    if code == 2 and listing(folder) != before:
        return "exit code 2, but files were written", text
    return next((f"{word!r} in its output" for word in WRONG if word in text), ""), text


def run_and_exit(command, arguments, folder, output):
    """Replace this process by a command with limits of time and memory."""
    # The signals of these limits are not handled, so they end the process also inside a library.
    resource.setrlimit(resource.RLIMIT_CPU, (LIMIT, LIMIT + 1))
    signal.alarm(WAITING)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    os.dup2(output.fileno(), 1)
    os.dup2(output.fileno(), 2)
    os.chdir(folder)
    try:
        code = command(arguments)
    except SystemExit as stop:
        code = stop.code if isinstance(stop.code, int) else 3
    except BaseException:
        import traceback

        traceback.print_exc()
        code = 4
    sys.stdout.flush()
    os._exit(code)


def listing(folder):
    """Paths of a folder with their kinds and sizes."""
    return {path: (path.lstat().st_mode, path.lstat().st_size) for path in folder.rglob("*")}


if __name__ == "__main__":
    sys.exit(main())
