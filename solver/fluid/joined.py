# SPDX-License-Identifier: MIT
"""Several flow systems side by side as one; they are coupled by the part alone."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from annelid.solver.fluid.flow_system import Array, FlowSystem, LumenState, Terms


@dataclass(frozen=True)
class Joined:
    """Flow systems one after another: their unknowns, and their sections, follow each other.

    Attributes:
        systems: The flow systems.
    """

    systems: tuple[FlowSystem, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Unknowns of all systems."""
        return tuple(name for system in self.systems for name in system.names)

    @property
    def units(self) -> tuple[str, ...]:
        """Their units."""
        return tuple(unit for system in self.systems for unit in system.units)

    @cached_property
    def scales(self) -> Array:
        """Their scales."""
        return np.concatenate([system.scales for system in self.systems])

    @cached_property
    def pressures(self) -> Array:
        """Each system has the pressures of its own sections."""
        return _diagonal([system.pressures for system in self.systems])

    @cached_property
    def unknowns(self) -> tuple[slice, ...]:
        """Place of the unknowns of each system."""
        return _slices([len(system.names) for system in self.systems])

    @cached_property
    def sections(self) -> tuple[slice, ...]:
        """Place of the sections of each system."""
        return _slices([len(system.pressures) for system in self.systems])

    def stored(self, y: Array, volumes: Array, t: float) -> Terms:
        """What all systems store."""
        return _beside(
            [
                system.stored(y[own], volumes[sections], t)
                for system, own, sections in zip(self.systems, self.unknowns, self.sections, strict=True)
            ]
        )

    def rate(self, y: Array, lumen: LumenState, t: float) -> Terms:
        """The rates of all systems."""
        terms = _beside(
            [
                system.rate(y[own], lumen.part(sections), t)
                for system, own, sections in zip(self.systems, self.unknowns, self.sections, strict=True)
            ]
        )
        sizes = [len(system.pressures) for system in self.systems]
        starts = np.cumsum([0, *sizes[:-1]])
        volumes = np.concatenate([3 * a + np.arange(k) for a, k in zip(starts, sizes, strict=True)])
        each = np.repeat(sizes, sizes)
        columns = np.concatenate([volumes, volumes + each, volumes + 2 * each])
        return terms._replace(by_lumen=terms.by_lumen[:, columns])


def _slices(sizes: list[int]) -> tuple[slice, ...]:
    ends = np.cumsum(sizes).tolist()
    return tuple(slice(end - size, end) for end, size in zip(ends, sizes, strict=True))


def _beside(terms: list[Terms]) -> Terms:
    values, by_unknowns, by_lumen = zip(*terms, strict=True)
    return Terms(np.concatenate(values), _diagonal(by_unknowns), _diagonal(by_lumen))


def _diagonal(blocks: Sequence[Array]) -> Array:
    """Matrix with blocks on its diagonal."""
    rows, columns = (_slices([block.shape[axis] for block in blocks]) for axis in (0, 1))
    matrix = np.zeros((rows[-1].stop, columns[-1].stop))
    for block, row, column in zip(blocks, rows, columns, strict=True):
        matrix[row, column] = block
    return matrix
