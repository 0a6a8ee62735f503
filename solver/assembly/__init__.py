# SPDX-License-Identifier: MIT
"""Residual, tangent, load derivatives and constraints of a problem, assembled."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
