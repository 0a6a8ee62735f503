# SPDX-License-Identifier: MIT
"""Moduli of a periodic frame of Timoshenko beams between rigid nodes, an independent solution in numpy.

Own derivation: node k moves by H X_k + w_k and rotates by φ_k; the ends of a beam follow their two nodes and
need not lie at their centres. w and φ are condensed out of the energy of the mean strains.
Shear of the beams takes the factor (2.4 + 1.5 ν) (t/l)² of published honeycomb formulas.
"""

from dataclasses import dataclass

import numpy as np

TURN = np.array([[0.0, -1.0], [1.0, 0.0]])
STRAINS = (np.diag([1.0, 0.0]), np.diag([0.0, 1.0]), np.array([[0.0, 0.5], [0.5, 0.0]]))


@dataclass(frozen=True)
class Frame:
    """Nodes (n, 2); of beams the ends (m, 2, 2), their nodes (m, 2), centres of these (m, 2, 2)."""

    nodes: np.ndarray
    ends: np.ndarray
    owners: np.ndarray
    centres: np.ndarray
    period: tuple[float, float]
    width: float


def frame_of(lines, width, period, *, centres=None, reach=0.0):
    """Frame of straight lines that repeat; rigid for ``reach`` from either end on.

    Nodes lie at ``centres``, or where lines end.
    """
    period = np.array(period)
    tips = np.array([line[[0, -1]] for line in lines])
    nodes = _distinct(tips.reshape(-1, 2), period) if centres is None else np.array(centres)
    way = tips[:, None] - nodes[None, :, None]  # (m, n, 2, 2)
    turns = np.round(way / period)
    away = np.linalg.norm(way - turns * period, axis=-1)
    owners = away.argmin(axis=1)
    rows = np.arange(len(tips))[:, None]
    at = nodes[owners] + turns[rows, owners, np.arange(2)] * period
    along = tips[:, 1] - tips[:, 0]
    along /= np.linalg.norm(along, axis=1)[:, None]
    ends = tips + reach * np.stack([along, -along], axis=1)
    return Frame(nodes, ends, owners, at, tuple(period), width)


def frame_moduli(frame, *, poisson=0.5):
    """E around, E along, ν around, ν along, G, over Young's modulus of the beams."""
    count, t = len(frame.nodes), frame.width
    stiffness = np.zeros((3 * count + 3,) * 2)
    for ends, owners, centres in zip(frame.ends, frame.owners, frame.centres, strict=True):
        motion = np.zeros((6, 3 * count + 3))
        for side in (0, 1):
            k, arm = 3 * owners[side], ends[side] - centres[side]
            rows = motion[3 * side : 3 * side + 3]
            rows[:2, k : k + 2] = np.eye(2)
            rows[:2, k + 2] = TURN @ arm
            rows[2, k + 2] = 1.0
            rows[:2, -3:] = np.column_stack([H @ centres[side] for H in STRAINS])
        stiffness += motion.T @ beam(ends[1] - ends[0], t, poisson) @ motion
    return condensed(stiffness, frame.period)


def condensed(stiffness, period):
    """E around, E along, ν around, ν along, G from a stiffness whose last three unknowns are mean strains."""
    inner, outer = np.arange(len(stiffness) - 3), np.arange(len(stiffness) - 3, len(stiffness))
    # Fluctuations are determined up to a translation: the smallest is taken.
    answer = np.linalg.lstsq(stiffness[np.ix_(inner, inner)], stiffness[np.ix_(inner, outer)], rcond=1e-12)[0]
    mean = stiffness[np.ix_(outer, outer)] - stiffness[np.ix_(outer, inner)] @ answer
    give = np.linalg.inv(mean / np.prod(period))
    return np.array(
        [1 / give[0, 0], 1 / give[1, 1], -give[1, 0] / give[0, 0], -give[0, 1] / give[1, 1], 1 / give[2, 2]]
    )


def _distinct(points, period):
    """One of each set of points that repeat each other."""
    folded = np.round((points / period) % 1.0, 9) % 1.0
    return points[np.unique(folded, axis=0, return_index=True)[1]]


def beam(way, t, poisson):
    """Stiffness against displacement and turn of both ends, per depth, E = 1."""
    length = np.linalg.norm(way)
    x, y = way / length
    bend = t**3 / 12
    shear = (2.4 + 1.5 * poisson) * (t / length) ** 2
    stretch = np.array([-x, -y, 0.0, x, y, 0.0])
    across = np.array([-y, x])
    chord = np.array([*(-across / length), 0.0, *(across / length), 0.0])
    start, stop = np.eye(6)[2] - chord, np.eye(6)[5] - chord
    k = bend / length / (1 + shear)
    same, other = (4 + shear) * k, (2 - shear) * k
    return (
        t / length * np.outer(stretch, stretch)
        + same * (np.outer(start, start) + np.outer(stop, stop))
        + other * (np.outer(start, stop) + np.outer(stop, start))
    )
