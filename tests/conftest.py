# SPDX-License-Identifier: MIT
"""One thread for each process, because the machine may be shared, and settings for tests in parallel.

This file also puts its folder on the import path, so that tests can use ``from exact import tube``.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("UCX_TLS", "self,sm,tcp")
# Small meshes are assembled as fast, and the forms of all tests are compiled in half the time.
os.environ.setdefault("ANNELID_FORM_FLAGS", "-O1 -march=native -ffast-math -fno-finite-math-only")


def pytest_collection_modifyitems(items):
    """Begin with the slow files."""
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)
