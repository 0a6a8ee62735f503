# SPDX-License-Identifier: MIT
"""Flat lattice cells, conformal charts of surfaces, and the lattice that wraps a pattern around a surface."""
