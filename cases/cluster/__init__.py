# SPDX-License-Identifier: MIT
"""Studies on a cluster: their runs are submitted to a queue instead of to processes of this machine."""
