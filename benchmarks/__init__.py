# SPDX-License-Identifier: MIT
"""Measurements of the solver and of general-purpose libraries on the same problem."""
