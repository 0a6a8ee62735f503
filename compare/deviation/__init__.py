# SPDX-License-Identifier: MIT
"""How far an aligned scan is from the simulated surface, and how certain that is."""
