# SPDX-License-Identifier: MIT
"""Case files, the command line, runs, studies and the library cases."""
