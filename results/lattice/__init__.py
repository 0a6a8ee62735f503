# SPDX-License-Identifier: MIT
"""Files and pictures of lattices: printing files, and properties of single cells."""
