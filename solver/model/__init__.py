# SPDX-License-Identifier: MIT
"""What is solved, as plain records that check themselves: materials, parts, supports, loads, stages."""
