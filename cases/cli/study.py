# SPDX-License-Identifier: MIT
"""What ``annelid study`` does."""

import argparse
import sys
import tomllib

from annelid.cases.cluster.command import handed_in, on_cluster
from annelid.cases.studies.driver import run_study
from annelid.cases.studies.listing import dry_run_lines, status_lines
from annelid.cases.studies.opening import create, open_study
from annelid.cases.studies.plan import Plan
from annelid.cases.studies.reading import library_studies
from annelid.cases.studies.search import grown
from annelid.cases.studies.settings import Settings, Tally
from annelid.cases.studies.store import Store
from annelid.cases.studies.table import Table
from annelid.results.display_units import counted

__all__ = ["study"]

FAILED = 1


def study(options: argparse.Namespace) -> int:
    """Run what is missing of a study; write its tables."""
    from annelid.cases.run.environment import needs_libraries, prepare

    if options.study is None:
        return _list()
    prepare()
    plan, store = open_study(options.study, options.out)
    if options.slurm:
        plan = grown(plan, store)  # a search goes on by its next batch
    if options.slurm or options.cancel or (options.status and handed_in(store)):
        return on_cluster(plan, store, options)
    if options.status:
        return _print(status_lines(plan, store))
    if options.dry_run:
        needs_libraries()
        return _print(dry_run_lines(plan, store, options.workers))
    if options.only:
        from annelid.cases.studies.planned_run import run_single

        needs_libraries()
        if options.expect_ranks is None:
            create(plan, store)
        return run_single(plan, store, options.only, ranks=options.expect_ranks)
    if not options.collect:
        needs_libraries()
    create(plan, store)
    with store.locked():
        return _run(plan, store, options)


def _run(plan: Plan, store: Store, options: argparse.Namespace) -> int:
    if options.retry:
        for run in plan.runs:
            store.forget(run)
    table = Table(plan, store)
    if options.collect:
        return _tell(plan, store, table, None)
    print(f"{plan.file.study.title}: {len(plan.runs)} runs\nin {store.path}", file=sys.stderr)
    settings = Settings(options.workers, options.time_limit, options.memory_limit)
    try:
        tally = run_study(plan, store, table, settings)
    except KeyboardInterrupt:
        table.write()
        states = [store.state(run) for run in table.plan.runs]
        text = f"stopped: {states.count('finished')} of {len(states)} runs are done and kept"
        print(f"{text}; the same command goes on with the others", file=sys.stderr)
        raise
    return _tell(plan, store, table, tally)


def _tell(plan: Plan, store: Store, table: Table, tally: Tally | None) -> int:
    plan = table.plan  # of a search: with all that it chose
    if tally is not None:
        table = Table(plan, store)  # now with links to the reports
    from annelid.cases.studies.page import write_page

    with store.writing():
        table.write()
        page = write_page(plan, store, table)
    states = [str(row["status"]) for row in table.rows]
    words = ("finished", "failed", "running", "waiting")
    parts = [f"{states.count(word)} {word}" for word in words if word in states]
    new = "" if tally is None else f" ({len(tally.seconds)} new)"
    lines = [f"runs: {', '.join(parts)}{new}"]
    stale = store.unknown_folders(plan.runs)
    if stale:
        lines.append(f"of earlier values of the study: {counted(stale, 'Run folder')}; kept, not counted")
    if "failed" in states:
        lines.append("failed runs are not tried again; --retry does, --status says why they failed")
    _print([*lines, f"table: {store.path / 'study.csv'} (and study.parquet)", f"page: {page}"])
    return FAILED if "finished" not in states else 0


def _print(lines: list[str]) -> int:
    print("\n".join(lines))
    return 0


def _list() -> int:
    found = library_studies()
    width = max(map(len, found))
    for name, path in found.items():
        print(f"{name:<{width}}  {tomllib.loads(path.read_text(encoding='utf-8'))['title']}")
    print("\nThe scenarios are invented. To see what one would run: annelid study NAME --dry-run")
    return 0
