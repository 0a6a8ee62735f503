# SPDX-License-Identifier: MIT
"""Curves and profiles of a run as SVG."""
