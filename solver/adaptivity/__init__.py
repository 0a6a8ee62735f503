# SPDX-License-Identifier: MIT
"""Discretisation errors of quantities, estimated on a finer mesh, and what each row of elements adds."""
