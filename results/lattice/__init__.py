# SPDX-License-Identifier: MIT
"""Files and pictures of lattices: for printers, and of single cells."""
