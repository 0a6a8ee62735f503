# SPDX-License-Identifier: MIT
"""Running a resolved case and writing its Run folder."""
