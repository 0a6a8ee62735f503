# SPDX-License-Identifier: MIT
"""Sizes as cast: faces of layers, their flat patterns, and moulds."""
