# SPDX-License-Identifier: MIT
"""Starting a script of the tests on several ranks."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]


def on_ranks(script, ranks, target, *arguments):
    """Run a script of this folder, or of one within, on ranks and return the arrays written to ``target``."""
    launcher = [str(Path(sys.executable).with_name("mpiexec")), "-launcher", "fork", "-n", str(ranks)]
    paths = [str(ROOT), str(Path(__file__).parent), os.environ.get("PYTHONPATH", "")]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(p for p in paths if p)}
    environment.setdefault("UCX_TLS", "self,sm,tcp")
    # mpi4py as main module ends all ranks when one fails.
    command = [*launcher, sys.executable, "-m", "mpi4py", str(Path(__file__).parent / script)]
    command += [str(target), *arguments]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=500)
    assert done.returncode == 0, done.stderr[-4000:]
    with np.load(target) as data:
        return dict(data)
