# SPDX-License-Identifier: MIT
"""The kinds of lattice cells in words: what a case file may say, with an example of each."""

from collections.abc import Iterator
from dataclasses import asdict

from annelid.geometry.lattice.catalogue import EXAMPLES, LatticeCell

__all__ = ["cell_lines"]

_ANGLES = ("angle", "opening")


def cell_lines() -> Iterator[str]:
    """One line a kind: its keys as a case file writes them."""
    width = max(map(len, EXAMPLES))
    for kind, cell in EXAMPLES.items():
        yield f"{kind:<{width}}  cell = {{ {written(kind, cell)} }}"


def written(kind: str, cell: LatticeCell) -> str:
    """The inside of the inline table ``cell`` of a case file."""
    pairs = [("kind", f'"{kind}"'), *((key, _value(key, value)) for key, value in asdict(cell).items())]
    return ", ".join(f"{key} = {value}" for key, value in pairs)


def _value(key: str, value: float | str) -> str:
    if isinstance(value, str):
        return f'"{value}"'
    return f'"{value:g} deg"' if key.endswith(_ANGLES) else f'"{value:g} mm"'
