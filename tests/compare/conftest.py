# SPDX-License-Identifier: MIT
"""Invented parts and runs are those of the tests of results."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).resolve().parents[1] / "results"))


@pytest.fixture(scope="module")
def run(tmp_path_factory):
    """A run of an inflated tube whose numbers are given by a formula."""
    from synthetic_parts import meridian_tube
    from synthetic_runs import finished

    return finished(tmp_path_factory.mktemp("runs") / "tube", meridian_tube(2, 6))
