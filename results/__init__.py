# SPDX-License-Identifier: MIT
"""What a run leaves behind: its folder, tables, fields, pictures and report."""
