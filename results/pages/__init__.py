# SPDX-License-Identifier: MIT
"""Self-contained pages from templates."""
