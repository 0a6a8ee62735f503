# SPDX-License-Identifier: MIT
"""The import path of the tests of the solver: closed forms are ``exact.<module>``."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
