# SPDX-License-Identifier: MIT
"""Published values, and checks of this installation against them."""
