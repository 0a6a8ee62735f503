# SPDX-License-Identifier: MIT
"""List of the kinds of lattice cells, each with an example as a case file writes it."""

from collections.abc import Iterator
from dataclasses import asdict

from annelid.geometry.lattice.catalogue import EXAMPLES, LatticeCell

__all__ = ["cell_lines"]

_ANGLES = ("angle", "opening")


def cell_lines() -> Iterator[str]:
    """Return one line for each kind with its keys as a case file writes them."""
    width = max(map(len, EXAMPLES))
    for kind, cell in EXAMPLES.items():
        yield f"{kind:<{width}}  cell = {{ {inline_table(kind, cell)} }}"


def inline_table(kind: str, cell: LatticeCell) -> str:
    """Return the entries of the inline table ``cell`` of a case file."""
    pairs = [("kind", f'"{kind}"'), *((key, _value(key, value)) for key, value in asdict(cell).items())]
    return ", ".join(f"{key} = {value}" for key, value in pairs)


def _value(key: str, value: float | str) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    return f'"{value:g} deg"' if key.endswith(_ANGLES) else f'"{value:g} mm"'
