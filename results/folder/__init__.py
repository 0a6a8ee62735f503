# SPDX-License-Identifier: MIT
"""The Run folder: what a run writes, and how it is read back."""
