# SPDX-License-Identifier: MIT
"""Symmetric LDL^T factorisation with its inertia."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
