# SPDX-License-Identifier: MIT
"""The surface of a scan as the measured surface of a case: radius over angle and height, with uncertainty."""
