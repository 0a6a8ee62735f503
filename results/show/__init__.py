# SPDX-License-Identifier: MIT
"""Files of a run for looking at: the whole deformed part at every state."""
