# SPDX-License-Identifier: MIT
"""The report of a run, made from its Run folder alone."""
