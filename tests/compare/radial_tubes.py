# SPDX-License-Identifier: MIT
"""Tubes and balloons whose radius about a perhaps bent line is known in closed form, and scans of them."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from annelid.compare.alignment.poses import Pose
from annelid.compare.invented.invented_scan import Truth, invent_scan
from annelid.compare.invented.scanned_surface import ScannedSurface
from annelid.compare.invented.scanner import InventedScanner
from annelid.compare.scans.point_cloud import PointCloud

VIEWS = tuple((float(np.cos(t)), float(np.sin(t)), 0.0) for t in np.arange(6) * np.pi / 3)


@dataclass(frozen=True)
class RadialTube:
    """A surface r(angle, height) about the line x = bend(z), from Z = low to high, mm."""

    radius: Callable[[np.ndarray, np.ndarray], np.ndarray]
    low: float
    high: float
    bend: Callable[[np.ndarray], np.ndarray] = np.zeros_like

    def surface(self, fineness=400) -> ScannedSurface:
        """Triangles whose corners lie on the surface."""
        angle = 2 * np.pi * np.arange(fineness) / fineness
        a, z = np.meshgrid(angle, np.linspace(self.low, self.high, fineness // 2 + 1), indexing="ij")
        r = self.radius(a, z)
        points = np.stack([r * np.cos(a) + self.bend(z), r * np.sin(a), z], axis=-1).reshape(-1, 3)
        rows = a.shape[1]
        here = (np.arange(fineness)[:, None] * rows + np.arange(rows - 1)).ravel()
        after = (here + rows) % len(points)
        corners = [[here, after, after + 1], [here, after + 1, here + 1]]
        return ScannedSurface(points, np.concatenate([np.stack(c, axis=-1) for c in corners]))

    def scan(self, *, spacing, noise, seed, **faults) -> tuple[PointCloud, Truth]:
        """An invented scan in an arbitrary pose."""
        scanner = InventedScanner(spacing, noise, view_directions=VIEWS, seed=seed, **faults)
        return invent_scan(self.surface(), scanner)

    def true_radius(self, truth: Truth, pose: Pose, angle: np.ndarray, height: np.ndarray) -> np.ndarray:
        """Radius of the surface at angles and heights in the frame of a pose of its scan, by iteration."""
        a, z = angle.ravel(), height.ravel()
        rho = np.full(a.size, float(np.mean(self.radius(a, np.full(a.size, (self.low + self.high) / 2)))))
        for _ in range(60):
            placed = np.stack([rho * np.cos(a), rho * np.sin(a), z], axis=-1)
            scan = (placed - pose.translation) @ pose.rotation
            x, y, h = ((scan - truth.translation) @ truth.rotation).T
            x = x - self.bend(h)
            step = self.radius(np.arctan2(y, x), np.clip(h, self.low, self.high)) - np.hypot(x, y)
            rho = rho + step
            if np.abs(step).max() < 1e-10:
                break
        return rho.reshape(angle.shape)


TUBES = {
    "oval": RadialTube(
        lambda a, z: 7 + 0.05 * z + 0.4 * np.cos(2 * a + z / 20) + 0.6 * np.sin(np.pi * z / 30), 0.0, 30.0
    ),
    "tapered": RadialTube(lambda a, z: 6 + 0.1 * z + 0 * a, 0.0, 30.0),
    "ellipsoid": RadialTube(lambda a, z: 9 * np.sqrt(1 - (z / 20) ** 2) + 0 * a, -14.0, 14.0),
    "bulge": RadialTube(
        lambda a, z: 6 + 2.5 * np.exp(-(((z - 15) / 6) ** 2)) + 0.15 * np.cos(3 * a), 0.0, 30.0
    ),
    "bent": RadialTube(lambda a, z: 6 + 0 * (a + z), 0.0, 36.0, lambda z: 2.0 * np.sin(np.pi * z / 36)),
}
