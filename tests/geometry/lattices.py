# SPDX-License-Identifier: MIT
"""Modified example cells for the tests of lattices."""

from dataclasses import replace

from annelid.geometry.lattice.catalogue import EXAMPLES


def pattern_of(kind, **changes):
    return replace(EXAMPLES[kind], **changes).pattern()
