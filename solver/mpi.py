# SPDX-License-Identifier: MIT
"""MPI for other folders, imported in the order that the bindings need."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)

from mpi4py import MPI

__all__ = ["MPI"]
