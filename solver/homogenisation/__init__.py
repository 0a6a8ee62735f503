# SPDX-License-Identifier: MIT
"""Effective moduli and collapse curves of periodic lattice cells."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
