# SPDX-License-Identifier: MIT
"""From a shape and mesh sizes to a meshed body, and the quality of its mesh."""
