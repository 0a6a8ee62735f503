# SPDX-License-Identifier: MIT
"""From a lattice to the tool path, times and motion code of the machine that prints it."""
