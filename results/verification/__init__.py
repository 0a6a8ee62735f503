# SPDX-License-Identifier: MIT
"""The result of a verification: its record, its files and its page."""
