# SPDX-License-Identifier: MIT
"""From a resolved case to the records of geometry and solver."""
