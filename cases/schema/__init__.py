# SPDX-License-Identifier: MIT
"""The schema of case files, with one pydantic table for each table of the file."""
