# SPDX-License-Identifier: MIT
"""Cells for tests of lattices: the examples, changed."""

from dataclasses import replace

from annelid.geometry.lattice.catalogue import EXAMPLES


def pattern_of(kind, **changes):
    return replace(EXAMPLES[kind], **changes).pattern()
