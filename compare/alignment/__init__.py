# SPDX-License-Identifier: MIT
"""Placing a scan on the simulated surface."""
