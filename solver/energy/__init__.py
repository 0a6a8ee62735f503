# SPDX-License-Identifier: MIT
"""The total potential of a model on its finite-element spaces, written in UFL."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
