# SPDX-License-Identifier: MIT
"""Equations in time beside the structure: fluid in the lumen, circuits, charging of electrodes."""
