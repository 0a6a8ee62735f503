# SPDX-License-Identifier: MIT
"""The command line reads 300 mutants of its input files; DEVELOPERS.md has the command for more."""

import os
import subprocess
import sys

import pytest
from plain_tube import ROOT


@pytest.mark.slow
def test_mutants_are_read_or_refused():
    command = [sys.executable, str(ROOT / "tests" / "fuzz"), "--mutants", "300", "--seed", "1"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.endswith("0 failures in 300 mutants of seed 1\n")
