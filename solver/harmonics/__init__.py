# SPDX-License-Identifier: MIT
"""Stability of axisymmetric equilibria against perturbations that vary around the axis."""

import dolfinx_solver  # noqa: F401  (orders MPI ahead of the bindings)
