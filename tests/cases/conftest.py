# SPDX-License-Identifier: MIT
import contextlib
import copy
import io
import os
import subprocess
import sys

import pytest
from plain_tube import ROOT, TABLES

from annelid.cases.cli.main import main


@pytest.fixture
def tables():
    """Return a small valid case as nested tables that a test may change."""
    return copy.deepcopy(TABLES)


@pytest.fixture
def annelid(tmp_path):
    """Return a function that runs the command line in an empty folder, in this process.

    A process of its own takes three seconds to start.
    """

    def run(*arguments):
        out, err = io.StringIO(), io.StringIO()
        arguments = [*map(str, arguments)]
        with contextlib.chdir(tmp_path), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                code = main(arguments)
            except SystemExit as stop:
                code = stop.code
        return subprocess.CompletedProcess(arguments, code, out.getvalue(), err.getvalue())

    return run


@pytest.fixture
def annelid_process(tmp_path):
    """Return a function that runs the command line in an empty folder, in a process of its own."""

    def run(*arguments, **options):
        environment = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default"}
        command = [sys.executable, "-m", "annelid", *map(str, arguments)]
        return subprocess.run(
            command, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=300, **options
        )

    return run


@pytest.fixture
def disk(tmp_path):
    """A disk in memory: its folder, and a function that changes its mount options.

    Without the permission to mount the test is skipped, or fails if mounting is required.
    """
    place = tmp_path / "disk"
    place.mkdir()

    def mount(options):
        done = subprocess.run(
            ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(place)], capture_output=True, text=True
        )
        return done.stderr.strip() or f"exit code {done.returncode}" if done.returncode else ""

    refusal = mount("size=8m")
    if refusal and os.environ.get("ANNELID_NEEDS_MOUNTS") == "1":
        pytest.fail(f"no disk can be mounted: {refusal}")
    if refusal:
        pytest.skip(f"no disk can be mounted: {refusal}")

    def change(options):
        assert mount(f"remount,{options}") == ""

    try:
        yield place, change
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)
