# SPDX-License-Identifier: MIT
"""Figures of a run as SVG."""
