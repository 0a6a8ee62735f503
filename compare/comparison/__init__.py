# SPDX-License-Identifier: MIT
"""The comparison of one scan with a state of a run, and its folder."""
