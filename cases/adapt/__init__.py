# SPDX-License-Identifier: MIT
"""Choosing the mesh of a case for a required accuracy."""
