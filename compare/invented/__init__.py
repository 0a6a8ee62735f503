# SPDX-License-Identifier: MIT
"""Invented scans of a simulated part, with known pose and known faults."""
