# SPDX-License-Identifier: MIT
"""Measurements of the solver, side by side with general-purpose libraries on the same problem."""
