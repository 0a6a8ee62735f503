# SPDX-License-Identifier: MIT
"""Invented parts and runs are those of the tests of results."""

import sys
from pathlib import Path

sys.path.append(str(Path(__file__).resolve().parents[1] / "results"))
