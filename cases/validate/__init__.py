# SPDX-License-Identifier: MIT
"""From a case file to a resolved case, or to messages that say what is wrong."""
