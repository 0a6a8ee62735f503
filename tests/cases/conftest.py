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
