# SPDX-License-Identifier: MIT
"""Reading, checking and resolving case files, with one message for every error."""
