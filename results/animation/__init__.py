# SPDX-License-Identifier: MIT
"""Animations of a run in which time passes, as GIF and MP4 files."""
