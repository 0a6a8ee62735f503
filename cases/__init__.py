# SPDX-License-Identifier: MIT
"""Case files and the command line: what the user writes and types."""
