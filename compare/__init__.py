# SPDX-License-Identifier: MIT
"""Comparison of results with scans of the real part; this package is empty so far."""
