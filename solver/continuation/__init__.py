# SPDX-License-Identifier: MIT
"""Newton's method, controls, path following, critical points and what lies beyond them."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
