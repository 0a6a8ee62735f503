# SPDX-License-Identifier: MIT
"""Shapes as records of numbers in mm, the meridians they follow and their volumes by formula."""
