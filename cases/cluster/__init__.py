# SPDX-License-Identifier: MIT
"""Studies on a cluster: the same runs, handed to a queue instead of to processes of this machine."""
