# SPDX-License-Identifier: MIT
"""Parameter studies: many runs from one file, one table, one page."""
