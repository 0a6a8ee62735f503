# SPDX-License-Identifier: MIT
"""Worker processes are reaped, and their logs state why a run on several ranks failed."""

import pytest

from annelid.cases.studies.pool import Pool


def test_workers_that_ended_are_reaped_in_any_case(tmp_path):
    pool = Pool(2, tmp_path, runner="no_such_runner", memory=0.0)
    pool.start_workers(2)
    workers = list(pool.workers)
    while pool.workers:
        pool.wait(1.0)
    pool.close()
    assert [worker.process.returncode is None for worker in workers] == [False, False]
    assert all(worker.process.stdin.closed and worker.process.stdout.closed for worker in workers)
    assert "no_such_runner" in workers[0].reap()[1]  # may be called again


REASON = "--ranks: 2 ranks were requested, but this run has 1; start the run with --ranks"
ABORT = "Abort(2) on node 0 (rank 0 in comm 0): application called MPI_Abort(MPI_COMM_WORLD, 2) - process 0"
SRUN = [f"srun: error: vm: task {rank}: Exited with exit code 2" for rank in (0, 1)]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([f"annelid: {REASON}", f"annelid: {REASON}", ABORT, ABORT, *SRUN], REASON),
        ([ABORT, SRUN[0], f"annelid: {REASON}", ABORT, ABORT, ABORT, SRUN[1]], REASON),
        ([ABORT, *SRUN], f"{ABORT} / {SRUN[0]} / {SRUN[1]}"),
        ([], ""),
    ],
)
def test_message_is_reported_whichever_rank_aborts(tmp_path, lines, message):
    pool = Pool(1, tmp_path, runner="no_such_runner", memory=0.0)
    pool.start_workers(1)
    (worker,) = pool.workers
    pool.close()
    worker.log.write_text("".join(f"{line}\n" for line in lines))
    assert worker.log_message() == message
