# SPDX-License-Identifier: MIT
"""Fields, surfaces and sections of a state, and the files that hold them."""
