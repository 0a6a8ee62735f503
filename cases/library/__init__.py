# SPDX-License-Identifier: MIT
"""Cases that come with the program; each scenario is invented."""
