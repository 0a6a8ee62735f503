# SPDX-License-Identifier: MIT
"""The results of a run: its folder, tables, fields, pictures and report."""
