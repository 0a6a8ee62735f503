# SPDX-License-Identifier: MIT
"""Pages about comparisons: pictures, figures and words."""
