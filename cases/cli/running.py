# SPDX-License-Identifier: MIT
"""The command that runs a case, and what it prints at the end."""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from annelid.cases.cli.commands import REPORTING, given_case
from annelid.cases.run.minute_lines import MinuteLines

__all__ = ["FAILED", "print_outcome", "run_command"]

FAILED = 1  # no equilibrium at all, or an error


def run_command(options: argparse.Namespace) -> int:
    """Run a case and write its report."""
    from annelid.cases.convert.plausibility import remarks_on
    from annelid.cases.run.environment import require_libraries
    from annelid.cases.run.run import default_folder, run_case
    from annelid.cases.validate.resolved import case_hash
    from annelid.results.folder.folder_files import check_writable, status

    case = given_case(options)
    folder = options.rundir or default_folder(Path(options.case).stem, case)
    check_writable(folder, case_hash(case), rerun=True)  # before anything is computed
    if status(folder) == "finished" and not options.again:
        print(f"{folder} contains the finished run of this case; --again repeats it")
        return print_outcome(folder, report=not options.no_report)
    require_libraries()
    if options.expect_ranks is None:
        remarks = (f"remark: {remark}" for remark in remarks_on(case))
        print(f"running {case.title}", f"in {folder}", *remarks, sep="\n", file=sys.stderr)
    with _interruption_explained(folder):
        if options.ranks > 1:
            return _run_on_ranks(options, folder)
        result = run_case(
            case,
            folder,
            rerun=options.again,
            expected_ranks=options.expect_ranks,
            keep_surfaces=not options.no_surfaces,
        )
        if result is None:
            return 0
        print_outcome(folder, report=not options.no_report)
    return FAILED if result.states == 0 else 0


@contextmanager
def _interruption_explained(folder: Path) -> Iterator[None]:
    """Add to an interruption in which state it leaves the Run folder."""
    from annelid.results.folder.folder_files import status

    try:
        yield
    except KeyboardInterrupt:
        left = {
            "unfinished": "the Run folder is marked as unfinished, and the same command starts the run again",
            "finished": "the run is finished, and the same command writes what is missing of its report",
        }.get(status(folder))
        raise KeyboardInterrupt(f"interrupted; {left}" if left else "interrupted") from None


def _run_on_ranks(options: argparse.Namespace, folder: Path) -> int:
    from annelid.cases.run.ranks import start_ranks
    from annelid.results.folder.folder_files import log_end

    try:
        code = start_ranks(options.ranks, _rank_arguments(options, folder))
    except BaseException as error:
        log_end(folder, str(error) or "interrupted")
        raise
    if code == FAILED:
        log_end(folder, "a rank failed and printed the reason")
    return code


def _rank_arguments(options: argparse.Namespace, folder: Path) -> list[str]:
    """Arguments of the command that each of several ranks runs."""
    arguments = ["run", str(options.case), str(folder), "--coarse", str(options.coarse)]
    flags = {
        "--again": options.again,
        "--no-report": options.no_report,
        "--no-surfaces": options.no_surfaces,
        "--debug": options.debug,
    }
    return arguments + [flag for flag, given in flags.items() if given]


def print_outcome(folder: Path, *, report: bool = False) -> int:
    """Print the outcome of a run and its verdicts; write the report and show files if requested."""
    from annelid.results.folder.folder_files import REPORT, SHOW
    from annelid.results.folder.run_record import open_run
    from annelid.results.report.first_limits import first_limit
    from annelid.results.show.show_files import LAST_STATE, write_show
    from annelid.solver.model.quantities import quantity_of

    record = open_run(folder)
    if record.outcome is not None:
        margins = [f"stability margin, {margin.text}" for margin in record.outcome.margins]
        first = [text for text in (first_limit(record.outcome),) if text]
        bistability = record.summary.get("bistability")
        snaps = [bistability["text"]] if bistability else []
        print(record.outcome.text, *record.outcome.remarks, *snaps, *margins, *first, sep="\n")
    units = record.units
    for v in record.verdicts:
        value, limit = (units.show(quantity_of(v.quantity).kind, number) for number in (v.value, v.limit))
        value = f"at least {value}" if v.is_bound else value
        word = "met    " if v.met else "NOT MET"
        print(f"  {word}  {v.quantity}: {value} ({v.condition} {limit}, {v.where})")
    sys.stdout.flush()
    report_path, shown = folder / REPORT, folder / SHOW / LAST_STATE
    if report and not report_path.exists():
        from annelid.results.report.report import write_report

        print(REPORTING, file=sys.stderr)
        with MinuteLines(REPORTING):
            write_report(folder)
    print(f"report: {report_path}" if report_path.exists() else f"Run folder: {folder}", flush=True)
    if report and not shown.exists():
        write_show(folder)
    if shown.exists():
        print(f"for ParaView and pyvista: {shown}")
    return 0
