# SPDX-License-Identifier: MIT
"""Worker processes leave nothing behind."""

from annelid.cases.studies.pool import Pool


def test_workers_that_ended_are_reaped_though_nobody_asks_why(tmp_path):
    pool = Pool(2, tmp_path, runner="no_such_runner", memory=0.0)
    pool.fill(2)
    workers = list(pool.workers)
    while pool.workers:
        pool.wait(1.0)
    pool.close()
    assert [worker.process.returncode is None for worker in workers] == [False, False]
    assert all(worker.process.stdin.closed and worker.process.stdout.closed for worker in workers)
    assert "no_such_runner" in workers[0].bury()[1]  # and can still be asked
