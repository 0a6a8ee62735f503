# SPDX-License-Identifier: MIT
"""Fields, surfaces and cross-sections of a state, and their files."""
