# SPDX-License-Identifier: MIT
"""From a converged state to its fields, integrals and reported quantities."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
