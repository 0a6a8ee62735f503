# SPDX-License-Identifier: MIT
"""Tool paths of lattices, the clearance of the nozzle, print times and motion code."""
