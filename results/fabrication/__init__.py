# SPDX-License-Identifier: MIT
"""The fabrication sheet: its page, tables and drawings."""
