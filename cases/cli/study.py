# SPDX-License-Identifier: MIT
"""The command ``annelid study``: parameter studies."""

import argparse
import sys
import tomllib

from annelid.cases.cluster.command import run_cluster_command, was_submitted
from annelid.cases.run.minute_lines import MinuteLines
from annelid.cases.studies.driver import run_study
from annelid.cases.studies.listing import dry_run_lines, missed_lines, status_lines
from annelid.cases.studies.opening import create_study, open_study
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.reading import library_studies
from annelid.cases.studies.search import latest_plan
from annelid.cases.studies.settings import RunCounts, Settings
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import StudyTable
from annelid.solver.display import counted

__all__ = ["run_study_command"]

FAILED = 1


def run_study_command(options: argparse.Namespace) -> int:
    """Do the missing runs of a study and write its tables, or do what the options request instead."""
    from annelid.cases.run.environment import require_libraries

    if options.study is None:
        return _list_library()
    plan, store = open_study(options.study, options.out)
    if options.slurm and not options.dry_run:
        store.forget_damaged(plan.runs)
    if options.slurm:
        plan = latest_plan(plan, store)  # a search continues with its next batch
    if options.slurm or options.cancel or (options.status and was_submitted(store)):
        return run_cluster_command(plan, store, options)
    if options.status:
        return _print(status_lines(plan, store))
    if options.dry_run:
        require_libraries()
        with MinuteLines("estimating the cost of the runs"):
            lines = dry_run_lines(plan, store, options.workers)
        return _print(lines)
    if options.only:
        from annelid.cases.studies.planned_run import run_planned

        require_libraries()
        if options.expect_ranks is None:
            create_study(plan, store)
        return run_planned(plan, store, options.only, ranks=options.expect_ranks)
    if options.collect:
        for run in plan.runs:
            store.check(run)
    else:
        require_libraries()
    create_study(plan, store)
    with store.locked():
        return _run(plan, store, options)


def _run(plan: Plan, store: Store, options: argparse.Namespace) -> int:
    if options.retry:
        for run in plan.runs:
            store.delete_failure(run)
    table = StudyTable(plan, store)
    if options.collect:
        return _write_results(plan, store, table, None)
    print(f"{plan.file.study.title}: {len(plan.runs)} runs\nin {store.path}", file=sys.stderr)
    settings = Settings(options.workers, options.time_limit, options.memory_limit)
    try:
        counts = run_study(plan, store, table, settings)
    except KeyboardInterrupt:
        table.write()
        states = [store.state(run) for run in table.plan.runs]
        text = f"stopped: {states.count('finished')} of {len(states)} runs are finished and kept"
        print(f"{text}; start the same command again to continue", file=sys.stderr)
        raise
    return _write_results(plan, store, table, counts)


def _write_results(plan: Plan, store: Store, table: StudyTable, counts: RunCounts | None) -> int:
    plan = table.plan  # in a search with all chosen points
    if counts is not None:
        table = StudyTable(plan, store)  # with links to the reports
    from annelid.cases.studies.analysis import best_run
    from annelid.cases.studies.page import write_page

    with store.writing():
        page = write_page(plan, store, table)  # first, since it reads a case, which may be damaged
        table.write()
    states = [str(row["status"]) for row in table.rows]
    order = ("finished", "failed", "running", "waiting")
    parts = [f"{states.count(word)} {word}" for word in order if word in states]
    new = "" if counts is None else f" ({len(counts.seconds)} new)"
    lines = [f"runs: {', '.join(parts)}{new}", *missed_lines(table.rows)]
    stale = store.count_other_folders(plan.runs)
    if stale:
        text = f"{counted(stale, 'other Run folder')} of earlier versions of the study: kept, but not counted"
        lines.append(text)
    if "failed" in states:
        lines.append("failed runs are not repeated; --retry repeats them, --status shows why they failed")
    best = best_run(plan, table.rows)
    lines += [f"best run: {best}"] if best is not None else []
    _print([*lines, f"table: {store.path / 'study.csv'} (and study.parquet)", f"page: {page}"])
    return FAILED if "finished" not in states else 0


def _print(lines: list[str]) -> int:
    print("\n".join(lines))
    return 0


def _list_library() -> int:
    studies = library_studies()
    width = max(map(len, studies))
    for name, path in studies.items():
        print(f"{name:<{width}}  {tomllib.loads(path.read_text(encoding='utf-8'))['title']}")
    print("\nThe scenarios are invented. List the runs of a study: annelid study NAME --dry-run.")
    return 0
