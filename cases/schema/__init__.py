# SPDX-License-Identifier: MIT
"""What a case file may say: one pydantic table for each table of the file."""
