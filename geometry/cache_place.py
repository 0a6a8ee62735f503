# SPDX-License-Identifier: MIT
"""Where is kept what would take long to find again."""

import os
from pathlib import Path


def cache_place() -> Path:
    """The folder of caches: ``ANNELID_CACHE``, or one in the home of the user."""
    return Path(os.environ.get("ANNELID_CACHE", Path.home() / ".cache" / "annelid"))
