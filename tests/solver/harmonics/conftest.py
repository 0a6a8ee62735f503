# SPDX-License-Identifier: MIT
"""The import path of the tests of harmonics: what they share is ``counting``."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parents[1])]
