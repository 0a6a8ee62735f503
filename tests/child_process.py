# SPDX-License-Identifier: MIT
"""Processes for tests that interrupt them."""

import signal
import subprocess


def start_interruptible(command, **options):
    """Start a process that SIGINT interrupts, even if the tests themselves run with SIGINT ignored.

    A process that ignores a signal passes this on to its children; background jobs of a shell and nohup do.
    """
    return subprocess.Popen(command, preexec_fn=_default_interrupt, **options)


def _default_interrupt():
    signal.signal(signal.SIGINT, signal.SIG_DFL)
