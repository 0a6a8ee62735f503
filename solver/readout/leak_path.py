# SPDX-License-Identifier: MIT
"""The widest leak path: how far a fluid in the lumen can pass between the wall and obstacles in it."""

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from annelid.geometry.body import Body, FloatArray, IntArray
from annelid.geometry.elements import CORNERS, shape_values
from annelid.solver.readout.facet_pieces import facet_kind, pieces_of


class Leak(NamedTuple):
    """What a path has found on the leak of a lumen.

    Attributes:
        shut: Whether no leak path was open in the last state.
        pressure: Lumen pressure in the first state with a leak path since the lumen was shut, MPa; ``nan`` if
            there is none.
    """

    shut: bool = False
    pressure: float = float("nan")

    def after(self, gap: float, pressure: float) -> "Leak":
        """The same with one more state.

        Args:
            gap: Gap of the widest leak path in that state, mm.
            pressure: Lumen pressure, MPa.
        """
        if gap < 0:
            return Leak(shut=True)
        return Leak(pressure=pressure) if self.shut else self


class LeakPath:
    """Paths along the inner surface of a part between its two open ends, from facet to facet.

    A path passes a facet as a whole: on a round obstacle the points of one facet lie a little inside and
    outside of it by turns, so that a path between them would find a way where there is none.

    Args:
        body: The body.
        ends: The two surfaces at which its lumen is open.
    """

    def __init__(self, body: Body, ends: Sequence[str]) -> None:
        facets = body.facets[body.facet_numbers("lumen")]
        self._body = body
        self._facets: IntArray = facets
        self._values = shape_values(facet_kind(facets), pieces_of(facet_kind(facets))[0])
        self._rims = [np.isin(facets, body.surface_nodes(end)).any(axis=1) for end in ends]

    def widest(self, displacement: FloatArray, gap: Callable[[FloatArray], FloatArray]) -> float:
        """Least gap along the path from end to end on which it is largest, mm.

        Args:
            displacement: At the nodes, shape of ``body.points``, mm.
            gap: Gap to the nearest obstacle at positions of shape (n, 2) or (n, 3).
        """
        points = self._values @ (self._body.points + displacement)[self._facets]
        least = gap(points.reshape(-1, points.shape[2])).reshape(points.shape[:2]).min(axis=1)
        if self._facets.shape[1] == 3:  # the facets of a meridian, all of which a path passes
            return float(least.min())
        levels = np.unique(least)
        low, high = 0, len(levels) - 1
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self._connected(least >= levels[middle]) else (low, middle - 1)
        return float(levels[low])

    def _connected(self, passable: NDArray[np.bool_]) -> bool:
        """Whether facets that can be passed lead from one end to the other over common edges."""
        from scipy.sparse import coo_array  # start-up and memory that axisymmetric cases need not pay
        from scipy.sparse.csgraph import connected_components

        corners = CORNERS[facet_kind(self._facets)]
        on_edges = self._facets[passable, corners : 2 * corners] + len(self._facets)  # middles of edges
        facets = np.repeat(np.flatnonzero(passable), corners)
        size = len(self._facets) + len(self._body.points)
        graph = coo_array((np.ones(facets.size), (facets, on_edges.ravel())), shape=(size, size))
        label = connected_components(graph, directed=False)[1][: len(self._facets)]
        low, high = (label[rim & passable] for rim in self._rims)
        return bool(np.isin(low, high).any())
