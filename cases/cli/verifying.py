# SPDX-License-Identifier: MIT
"""The command that finds the error bars of a case."""

import argparse
import os
import sys
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from annelid.cases.cli.argument_types import quantity, whole_number
from annelid.cases.cli.commands import given_case, with_chosen_mesh

if TYPE_CHECKING:
    from annelid.results.verification.record import Verification
    from annelid.solver.display import DisplayUnits

__all__ = ["VERIFY_EXAMPLES", "add_verify_arguments", "verify_command"]

VERIFY_EXAMPLES = """\
examples:
  annelid verify my_case.toml --dry-run   list the runs with their sizes and expected times
  annelid verify my_case.toml             do the runs; write error bars and a page
  annelid verify my_case.toml bars --finer 3

All element sizes are halved twice (in 3-D once) and, where this is possible, doubled once; steps are halved
twice; one run has a tighter tolerance, one a higher degree of quadrature. Finished runs are not repeated. The
folder is also a study folder: annelid study FOLDER --status lists its runs.
"""
_MOST_PRINTED = 12


def add_verify_arguments(command: argparse.ArgumentParser) -> None:
    """Add the arguments of ``annelid verify``."""
    command.add_argument("case", metavar="CASE", help="a case file, or the name of a library case")
    text = "folder to write to (default: verifications/CASE-HASH, where HASH identifies the resolved case)"
    command.add_argument("out", nargs="?", type=Path, metavar="OUT", help=text)
    text = "how often all element sizes are halved, 1 to 5 (default: 2, in 3-D 1)"
    command.add_argument("--finer", type=whole_number, metavar="N", help=text)
    text = "list the runs with their sizes and expected times; write nothing"
    command.add_argument("--dry-run", action="store_true", help=text)
    text = "number of parallel runs (default: one per processor)"
    command.add_argument("--workers", type=whole_number, default=0, metavar="N", help=text)
    command.add_argument("--retry", action="store_true", help="repeat failed runs")
    time = quantity("s", "a time", "10 min", above=0.0)
    text = 'time limit of each run, such as "2 h" (default: 1 hour)'
    command.add_argument("--time-limit", type=time, metavar="TIME", help=text)
    command.set_defaults(coarse=1.0)


def verify_command(options: argparse.Namespace) -> int:
    """Run a case on several meshes and with several steps, and write its error bars."""
    from annelid.cases.convert.display import display_units_of
    from annelid.cases.run.environment import require_libraries
    from annelid.cases.studies.driver import run_study
    from annelid.cases.studies.settings import Settings
    from annelid.cases.studies.store import Store
    from annelid.cases.studies.table import StudyTable
    from annelid.cases.verify.plan import create_folder, default_folder, verification_plan
    from annelid.cases.verify.refinement import refined_runs
    from annelid.cases.verify.result import cost_lines, verification_of, write_results

    asked = given_case(options)
    case = with_chosen_mesh(asked)
    runs = refined_runs(case, finer=options.finer)
    plan = verification_plan(case, runs)
    store = Store(options.out or default_folder(Path(options.case).stem, asked))
    workers = options.workers or len(os.sched_getaffinity(0))
    print("\n".join([plan.file.study.title, *cost_lines(runs, plan, store, workers)]))
    if options.dry_run:
        return 0
    require_libraries()
    create_folder(plan, store)
    print(f"in {store.path}", file=sys.stderr, flush=True)
    with store.locked():
        if options.retry:
            for run in plan.runs:
                store.delete_failure(run)
        table = StudyTable(plan, store)
        run_study(plan, store, table, Settings(options.workers, options.time_limit))
        verification = verification_of(case, runs, plan, store, asked=asked)
        page = write_results(verification, case, store)
    _print_bars(verification, display_units_of(case))
    print(f"table: {store.path / 'bars.csv'}\npage: {page}")
    return 0


def _print_bars(verification: "Verification", display: "DisplayUnits") -> None:
    """Print the verdicts with their bars, or the first bars if there are no requirements."""
    from annelid.results.verification.record import ROUNDING
    from annelid.results.verification.shown import shown_bar
    from annelid.solver.model.quantities import QUANTITIES, quantity_of

    for remark in verification.remarks:
        print(f"remark: {remark}")
    for v in verification.verdicts:
        kind = quantity_of(v.quantity).kind
        value, limit = shown_bar(kind, v.value, v.half_width, display), display.show(kind, v.limit)
        bar = "" if v.half_width >= 0 else "; no error bar"
        print(f"  {v.answer:17}  {v.quantity}: {value} ({v.condition} {limit}, {v.where}{bar})")
    if not verification.verdicts:
        names = {quantity.name for quantity in QUANTITIES}
        changing = (
            b for b in verification.bars if b.has_bar and b.pattern != ROUNDING and b.quantity in names
        )
        for b in islice(changing, _MOST_PRINTED):
            kind = quantity_of(b.quantity).kind
            print(f"  {b.quantity} {b.where}: {shown_bar(kind, b.value, b.half_width, display)}")
