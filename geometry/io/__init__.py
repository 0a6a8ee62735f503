# SPDX-License-Identifier: MIT
"""Reading and writing of bodies as mesh files."""
