# SPDX-License-Identifier: MIT
"""The command line of the program."""
