# SPDX-License-Identifier: MIT
"""Shapes drawn from numbers and meshed to a Body; see README.md in this folder."""
