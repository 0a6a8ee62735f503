# SPDX-License-Identifier: MIT
"""Solid meshes of walls with their lattices, caps and cores, and of single lattice cells."""
