# SPDX-License-Identifier: MIT
"""Parametric shapes, lattices and their meshes; see README.md in this folder."""
