# SPDX-License-Identifier: MIT
"""The import path of the tests of flow systems: what they share is ``soft``."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
