# SPDX-License-Identifier: MIT
"""Bodies written to and read from mesh files."""
