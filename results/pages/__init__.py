# SPDX-License-Identifier: MIT
"""Self-contained HTML pages from templates."""
