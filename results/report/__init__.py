# SPDX-License-Identifier: MIT
"""The report of a run."""
