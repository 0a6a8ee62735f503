# SPDX-License-Identifier: MIT
"""Comparison of results with scans of the real part."""
