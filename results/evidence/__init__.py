# SPDX-License-Identifier: MIT
"""What is known of how far the numbers of a run can be trusted."""
