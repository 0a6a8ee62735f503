# SPDX-License-Identifier: MIT
"""Equilibria of layered, pre-stretched, electrically loaded rubber parts, from one potential energy."""
