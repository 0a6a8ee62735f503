# SPDX-License-Identifier: MIT
"""Flat lattice cells, conformal charts of surfaces, and lattices wrapped around surfaces."""
