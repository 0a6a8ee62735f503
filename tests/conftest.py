# SPDX-License-Identifier: MIT
"""One thread for each process, because the machine may be shared.

This file also puts its folder on the import path, so that tests can use ``from exact import tube``.
"""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("UCX_TLS", "self,sm,tcp")
