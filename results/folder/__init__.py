# SPDX-License-Identifier: MIT
"""The Run folder: writing and reading the files of a run."""
