# SPDX-License-Identifier: MIT
"""3-D pictures of a state."""
