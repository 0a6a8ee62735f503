# SPDX-License-Identifier: MIT
"""Supports as constraints on the nodes of a body, rigid motions that they leave, and checks of stages."""
