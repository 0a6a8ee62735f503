# SPDX-License-Identifier: MIT
import copy
import os
import subprocess
import sys

import pytest
from plain_tube import ROOT, TABLES


@pytest.fixture
def tables():
    """Return a small valid case as nested tables that a test may change."""
    return copy.deepcopy(TABLES)


@pytest.fixture
def annelid(tmp_path):
    """Return a function that runs the command line in an empty folder."""

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
