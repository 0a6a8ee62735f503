# SPDX-License-Identifier: MIT
"""One thread for each process, because the machine may be shared, and an order for tests in parallel.

This file also puts its folder on the import path, so that tests can use ``from exact import tube``.
"""

import os

import pytest

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("UCX_TLS", "self,sm,tcp")


def pytest_collection_modifyitems(config, items):
    """Keep a file in one process, as its tests share forms and fixtures, and begin with the slow files.

    The tests of the cluster share one cluster.
    """
    slow = {item.path for item in items if item.get_closest_marker("slow")}
    items.sort(key=lambda item: item.path not in slow)
    for item in items if config.pluginmanager.hasplugin("xdist") else ():
        folder = item.path.parent
        group = folder if folder.name == "cluster" else item.path
        item.add_marker(pytest.mark.xdist_group(str(group.relative_to(folder.parents[1]))))
