# SPDX-License-Identifier: MIT
"""Scans of the real part: reading files, units, and cleaning."""
