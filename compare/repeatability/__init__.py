# SPDX-License-Identifier: MIT
"""Several scans of several parts: mean shape, spread and where it comes from."""
