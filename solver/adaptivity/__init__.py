# SPDX-License-Identifier: MIT
"""Discretisation errors of quantities, estimated on a finer mesh, and what each row of elements adds."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
