# SPDX-License-Identifier: MIT
"""Trails over a graph that contain every line once, with the least possible number of lifts.

A connected graph with 2 k > 0 nodes of odd degree needs k trails, and a graph without odd nodes needs one
(Euler 1736; Hierholzer 1873). Odd nodes near each other are connected by jumps. A closed tour over lines and
jumps is divided at the jumps, so that each jump leads from one trail to the next.
"""

from typing import NamedTuple

import numpy as np

from annelid.geometry.body import FloatArray, IntArray


class TrailStep(NamedTuple):
    """One line of a trail.

    Attributes:
        line: Number of the line.
        forward: Whether the line is printed from its first to its second node.
    """

    line: int
    forward: bool


def min_trail_count(ends: IntArray) -> int:
    """Return the least number of trails: half of the odd nodes, and one per component without odd nodes."""
    components, degree = _components(ends)
    odd = np.bincount(components, weights=degree % 2, minlength=components.max(initial=-1) + 1)
    return int(np.maximum(odd / 2, 1).sum())


def trails(ends: IntArray, positions: FloatArray) -> list[list[TrailStep]]:
    """Return the least number of trails with every line once, in an order with short travel between them.

    Args:
        ends: The two nodes of each line, shape (m, 2); nodes are numbered from 0 without gaps.
        positions: Positions of the nodes, shape (n, 3), mm.
    """
    components, degree = _components(ends)
    odd = np.flatnonzero(degree % 2)
    jumps = [
        pair
        for component in np.unique(components)
        for pair in _pairs(odd[components[odd] == component], positions)
    ]
    edges = np.concatenate([ends, np.array(jumps, dtype=np.int64).reshape(-1, 2)])
    incident = _incident_lines(edges, len(degree))
    start_nodes = _start_nodes(jumps, positions)
    ordered: list[list[TrailStep]] = []
    remaining = set(np.unique(components).tolist())
    here = int(ends[0, 0]) if len(ends) else 0
    while remaining:
        nodes = np.flatnonzero(np.isin(components, list(remaining)))
        nearest = nodes[np.argmin(np.linalg.norm(positions[nodes] - positions[here], axis=1))]
        component = int(components[nearest])
        remaining.discard(component)
        inside = np.flatnonzero(components == component)
        start = next((node for node in start_nodes if components[node] == component), int(inside[0]))
        pieces = _split(_tour(start, edges, incident), len(ends))
        ordered += pieces
        last = pieces[-1][-1]
        here = int(ends[last.line, 1 if last.forward else 0])
    return ordered


def _components(ends: IntArray) -> tuple[IntArray, IntArray]:
    """The connected component of each node, and its degree."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = int(ends.max(initial=-1)) + 1
    graph = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(count, count))
    labels = connected_components(graph, directed=False)[1] if count else np.zeros(0)
    return labels.astype(np.int64), np.bincount(ends.ravel(), minlength=count)


def _pairs(nodes: IntArray, positions: FloatArray) -> list[tuple[int, int]]:
    """Pairs of nodes, paired by distance beginning with the nearest."""
    first, second = np.triu_indices(len(nodes), 1)
    length = np.linalg.norm(positions[nodes[first]] - positions[nodes[second]], axis=1)
    free, pairs = np.ones(len(nodes), dtype=bool), []
    for k in np.argsort(length, kind="stable"):
        if free[first[k]] and free[second[k]]:
            free[[first[k], second[k]]] = False
            pairs.append((int(nodes[first[k]]), int(nodes[second[k]])))
    return pairs


def _start_nodes(jumps: list[tuple[int, int]], positions: FloatArray) -> list[int]:
    """One node of each jump, beginning with the longest jump: a tour that starts there can omit it."""

    def length(pair: tuple[int, int]) -> float:
        return float(np.linalg.norm(positions[pair[0]] - positions[pair[1]]))

    return [jump[0] for jump in sorted(jumps, key=lambda pair: -length(pair))]


def _incident_lines(ends: IntArray, count: int) -> list[list[int]]:
    """The lines at each node."""
    incident: list[list[int]] = [[] for _ in range(count)]
    for line, (a, b) in enumerate(ends.tolist()):
        incident[a].append(line)
        incident[b].append(line)
    return incident


def _tour(start: int, ends: IntArray, incident: list[list[int]]) -> list[TrailStep]:
    """A closed tour over all lines of a component whose nodes are all even (Hierholzer)."""
    pairs, used = ends.tolist(), set()
    stack: list[tuple[int, TrailStep | None]] = [(start, None)]
    tour: list[TrailStep] = []
    while stack:
        node, arrived = stack[-1]
        while incident[node] and incident[node][-1] in used:
            incident[node].pop()
        if incident[node]:
            line = incident[node].pop()
            used.add(line)
            a, b = pairs[line]
            stack.append((b, TrailStep(line, True)) if node == a else (a, TrailStep(line, False)))
        else:
            stack.pop()
            if arrived is not None:
                tour.append(arrived)
    return tour[::-1]


def _split(tour: list[TrailStep], lines: int) -> list[list[TrailStep]]:
    """Divide a closed tour at its jumps, whose numbers begin at ``lines``; begin after the first jump."""
    at = next((k for k, step in enumerate(tour) if step.line >= lines), None)
    if at is None:
        return [tour]
    pieces: list[list[TrailStep]] = [[]]
    for step in tour[at + 1 :] + tour[:at]:
        if step.line < lines:
            pieces[-1].append(step)
        elif pieces[-1]:
            pieces.append([])
    return [piece for piece in pieces if piece]
