# SPDX-License-Identifier: MIT
"""Conversion of a resolved case into the records of the geometry and the solver."""
