# SPDX-License-Identifier: MIT
"""The page of a study."""
