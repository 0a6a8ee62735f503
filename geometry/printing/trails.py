# SPDX-License-Identifier: MIT
"""Drawing a graph with few lifts: every line once, in as few unbroken trails as its odd nodes allow.

A connected graph with 2 k > 0 nodes of odd degree needs k trails, one without odd nodes needs one (Euler
1736; Hierholzer 1873). Odd nodes near each other are joined by jumps; a closed tour over lines and jumps is
cut at the jumps, so that each jump is the way from one trail to the next.
"""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray


class Step(NamedTuple):
    """One line of a trail.

    Attributes:
        line: Its number.
        forward: Whether it is drawn from its first to its second node.
    """

    line: int
    forward: bool


def fewest(ends: IntArray) -> int:
    """Return how many trails are needed at least: half the odd nodes, and one for a piece without."""
    parts, degree = _parts(ends)
    odd = np.bincount(parts, weights=degree % 2, minlength=parts.max(initial=-1) + 1)
    return int(np.maximum(odd / 2, 1).sum())


def trails(ends: IntArray, places: FloatArray) -> list[list[Step]]:
    """Return trails that draw every line once, as few as can be, in an order with short ways between them.

    Args:
        ends: The two nodes of each line, shape (m, 2); nodes are numbered from 0 without gaps.
        places: Where the nodes are, shape (n, 3); their distances tell which are near.
    """
    parts, degree = _parts(ends)
    odd = np.flatnonzero(degree % 2)
    jumps = [pair for part in np.unique(parts) for pair in _pairs(odd[parts[odd] == part], places)]
    every = np.concatenate([ends, np.array(jumps, dtype=np.int64).reshape(-1, 2)])
    around = _around(every, len(degree))
    longest = _longest_jump_first(jumps, places)
    found: list[list[Step]] = []
    waiting = set(np.unique(parts).tolist())
    here = int(ends[0, 0]) if len(ends) else 0
    while waiting:
        nodes = np.flatnonzero(np.isin(parts, list(waiting)))
        part = int(parts[nodes[np.argmin(np.linalg.norm(places[nodes] - places[here], axis=1))]])
        waiting.discard(part)
        inside = np.flatnonzero(parts == part)
        start = next((node for node in longest if parts[node] == part), int(inside[0]))
        pieces = _split(_tour(start, every, around), len(ends))
        found += pieces
        last = pieces[-1][-1]
        here = int(ends[last.line, 1 if last.forward else 0])
    return found


def _parts(ends: IntArray) -> tuple[IntArray, IntArray]:
    """The connected piece of each node, and its degree."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = int(ends.max(initial=-1)) + 1
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    labels = connected_components(graph, directed=False)[1] if count else np.zeros(0)
    return labels.astype(np.int64), np.bincount(ends.ravel(), minlength=count)


def _pairs(nodes: IntArray, places: FloatArray) -> list[tuple[int, int]]:
    """Pairs of nodes, the nearest first."""
    first, second = np.triu_indices(len(nodes), 1)
    length = np.linalg.norm(places[nodes[first]] - places[nodes[second]], axis=1)
    free, pairs = np.ones(len(nodes), dtype=bool), []
    for k in np.argsort(length, kind="stable"):
        if free[first[k]] and free[second[k]]:
            free[[first[k], second[k]]] = False
            pairs.append((int(nodes[first[k]]), int(nodes[second[k]])))
    return pairs


def _longest_jump_first(jumps: list[tuple[int, int]], places: FloatArray) -> list[int]:
    """One node of each jump, of the longest jump first: a tour that starts there need not take it."""
    return [
        jump[0] for jump in sorted(jumps, key=lambda pair: -np.linalg.norm(places[pair[0]] - places[pair[1]]))
    ]


def _around(ends: IntArray, count: int) -> list[list[int]]:
    """The lines at each node."""
    around: list[list[int]] = [[] for _ in range(count)]
    for line, (a, b) in enumerate(ends.tolist()):
        around[a].append(line)
        around[b].append(line)
    return around


def _tour(start: int, ends: IntArray, around: list[list[int]]) -> list[Step]:
    """A closed tour over all lines of a piece whose nodes are all even (Hierholzer)."""
    pairs, drawn = ends.tolist(), set()
    stack: list[tuple[int, Step | None]] = [(start, None)]
    tour: list[Step] = []
    while stack:
        node, arrived = stack[-1]
        while around[node] and around[node][-1] in drawn:
            around[node].pop()
        if around[node]:
            line = around[node].pop()
            drawn.add(line)
            a, b = pairs[line]
            stack.append((b, Step(line, True)) if node == a else (a, Step(line, False)))
        else:
            stack.pop()
            if arrived is not None:
                tour.append(arrived)
    return tour[::-1]


def _split(tour: list[Step], lines: int) -> list[list[Step]]:
    """Cut a closed tour at its jumps, which are numbered from ``lines`` on; begin after the first of them."""
    at = next((k for k, step in enumerate(tour) if step.line >= lines), None)
    if at is None:
        return [tour]
    pieces: list[list[Step]] = [[]]
    for step in tour[at + 1 :] + tour[:at]:
        if step.line < lines:
            pieces[-1].append(step)
        elif pieces[-1]:
            pieces.append([])
    return [piece for piece in pieces if piece]
