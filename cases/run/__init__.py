# SPDX-License-Identifier: MIT
"""One run: from a resolved case to a finished Run folder."""
